"""The whole campaign, one part after another; counts go to standard output."""

from __future__ import annotations

import signal
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
import campaign

from binarydyn.prediction import predict
from binarydyn.store import write_prediction


def main(parts: list[str]) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for part in parts or ("simulated", "invented", "disks", "damage"):
            place = folder / part
            place.mkdir()
            {"simulated": simulated, "invented": stored, "disks": disks, "damage": damage}[part](place)


def simulated(folder: Path) -> None:
    """15 kills and 5 polite ends of each table."""
    for table, members in (("full", 60), ("summary", 3000)):
        for sent, count in ((signal.SIGKILL, 15), (signal.SIGTERM, 5)):
            place = folder / f"{table}_{sent.name}"
            place.mkdir()
            found = campaign.simulated_kills(place, count, int(sent), members, table, sent=sent)
            print(f"sweep of simulations, {table}, {sent.name}:", found, flush=True)
    print("again and again:", campaign.killed_again_and_again(folder, 5), flush=True)


def stored(folder: Path) -> None:
    print("sweep of invented rows:", campaign.invented_kills(folder, 30), flush=True)


def disks(folder: Path) -> None:
    if campaign.can_mount():
        print(
            "full disks:", dict(campaign.full_disks(folder, [*range(8, 256, 32), *range(600, 4000, 400)])), flush=True
        )
    else:
        print("full disks: left out, this user cannot mount any", flush=True)


def damage(folder: Path) -> None:
    (folder / "p").mkdir()
    write_prediction(folder / "p.h5", predict(campaign.asked()))
    campaign.fill(folder / "s.h5", campaign.invented_grid(4096))
    for k, (words, how) in enumerate((("bit flips", campaign.flipped), ("truncations", campaign.cut))):
        print(f"{words} of a sweep:", dict(campaign.damaged_results(folder / "s.h5", how, 200, k, folder)), flush=True)
        print(f"{words} of a prediction:", dict(campaign.damaged_results(folder / "p.h5", how, 200, 5 + k, folder)))
        place = folder / words.replace(" ", "_")
        place.mkdir()
        print(f"{words} of blocks:", dict(campaign.damaged_blocks(how, 200, 9 + k, place)), flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
