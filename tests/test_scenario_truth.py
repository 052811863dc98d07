"""A scenario has one truth, its values: text, data and hash follow from them, however it was made."""

import copy
import pickle

import numpy as np
import pytest
from meshes import ellipsoid_mesh, obj_text

from binarydyn import Scenario, load, predict
from binarydyn.commands import main
from binarydyn.ensembles import rows_of
from binarydyn.errors import InputError
from binarydyn.inference.infer import infer
from binarydyn.scenario import Impactor, MomentumTransfer, MutualOrbit, Sampling, VelocityChange, example, varied
from binarydyn.scenario.fields import Table
from binarydyn.store import open_result
from binarydyn.store.predictions import write_prediction

BETA = "momentum_transfer.beta"
SHORT = {"simulation.days_before": 8.0, "simulation.days_after": 8.0, "simulation.tolerance": 1e-12}
CHANGES = {BETA: 3.5, "mutual_orbit.separation_m": 900.0, "mutual_orbit.period_h": 11.96}
"""Each of them moves the period change by minutes, and beta the answer of `infer` by its own size."""


def base() -> Scenario:
    return varied(example(), SHORT)


def by_constructor() -> Scenario:
    s = base()
    return Scenario(
        primary=s.primary,
        secondary=s.secondary.to_dict(),
        mutual_orbit=MutualOrbit(**s.mutual_orbit.to_dict() | {"separation_m": 900.0, "period_h": 11.96}),
        impactor=s.impactor,
        momentum_transfer={"beta": np.float64(3.5)},
        simulation=s.simulation,
    )


def from_file(tmp_path) -> Scenario:
    (tmp_path / "pair.toml").write_text("# by hand\n" + base().replace(CHANGES).text)
    return load(tmp_path / "pair.toml")


def reopened(tmp_path) -> Scenario:
    write_prediction(tmp_path / "p.h5", predict(base().replace(CHANGES)))
    return open_result(tmp_path / "p.h5").scenario


def written(tmp_path) -> Scenario:
    base().replace(CHANGES).to_toml(tmp_path / "w.toml")
    return load(tmp_path / "w.toml")


def changed_by_tables() -> Scenario:
    orbit = base().mutual_orbit.model_copy(update={"separation_m": 900.0, "period_h": 11.96})
    return base().model_copy(update={"momentum_transfer": MomentumTransfer(beta=3.5), "mutual_orbit": orbit})


WAYS = {
    "load": from_file,
    "from_text": lambda _: Scenario.from_text(base().replace(CHANGES).text),
    "from_data": lambda _: Scenario.from_dict(base().replace(CHANGES).to_dict(), "pair"),
    "from_dict": lambda _: Scenario.from_dict(base().replace(CHANGES).to_dict()),
    "constructor": lambda _: by_constructor(),
    "model_copy": lambda _: changed_by_tables(),
    "replace": lambda _: base().replace(CHANGES),
    "varied": lambda _: varied(base(), CHANGES),
    "reopened": reopened,
    "written": written,
    "pickled": lambda _: pickle.loads(pickle.dumps(base().replace(CHANGES))),
    "deep copy": lambda _: copy.deepcopy(base().replace(CHANGES)),
}


def change_s(scenario: Scenario) -> float:
    return predict(scenario).period_change_s


@pytest.fixture(scope="module")
def truth() -> tuple[float, float]:
    """Period change and beta of one file that says all of it, which every way has to repeat bit for bit."""
    text = example().text.replace("beta = 2.2", "beta = 3.5").replace("separation_m = 821.0", "separation_m = 900.0")
    text = text.replace("period_h = 10.42", "period_h = 11.96").replace("days_before = 60.0", "days_before = 8.0")
    text = text.replace("days_after = 60.0", "days_after = 8.0\ntolerance = 1e-12")
    scenario = Scenario.from_text(text)
    assert (scenario[BETA], scenario["simulation.days_after"], scenario["simulation.tolerance"]) == (3.5, 8.0, 1e-12)
    return change_s(scenario), nominal_beta(scenario)


def nominal_beta(scenario: Scenario) -> float:
    return float(np.median(infer(scenario, -1500.0, 1.0, count=1000, seed=0).beta))


@pytest.mark.parametrize("way", WAYS)
def test_all_that_asks_a_scenario_gets_the_same_answer(way, truth, tmp_path):
    """predict == sweep == varied == the nominal run of infer == the file reopened, to the bit."""
    scenario, (change, beta) = WAYS[way](tmp_path), truth
    assert change_s(scenario) == change
    row = next(rows_of(scenario, {BETA: [3.5]}, workers=1))
    assert (row.status, row.numbers["period_change_s"]) == ("completed", change)
    assert change_s(varied(scenario, {"impactor.mass_kg": scenario["impactor.mass_kg"]})) == change
    assert nominal_beta(scenario) == beta
    write_prediction(tmp_path / "again.h5", predict(scenario))
    stored = open_result(tmp_path / "again.h5")
    assert stored.numbers["period_change_s"] == change == change_s(stored.scenario)
    assert stored.attributes["scenario"] == scenario.text and stored.attributes["scenario_sha256"] == scenario.sha256
    assert stored.scenario.model_dump() == scenario.model_dump() == Scenario.from_text(scenario.text).model_dump()


def test_what_was_read_stays_the_text_while_its_values_hold(tmp_path):
    text = "# the pair of spring\n" + example().text
    scenario = Scenario.from_text(text)
    other = scenario.replace({BETA: 3.5})
    assert scenario == example() != other and len({scenario, example(), other}) == 2
    assert scenario.text == text and "spring" not in other.text and "beta = 3.5" in other.text
    assert other.replace({BETA: 2.2}).text == text and scenario.replace({}).sha256 == scenario.sha256
    assert len({scenario.sha256, other.sha256, scenario.replace({BETA: 3.6}).sha256}) == 3


def test_nothing_is_shared_with_who_gave_or_asked():
    """Three scenarios of a loop over one dictionary are three scenarios."""
    data, made = example().to_dict(), []
    for beta in (1.5, 2.5, 3.5):
        data["momentum_transfer"]["beta"] = beta
        made.append(Scenario.from_dict(data))
    data["impactor"]["direction"]["radial"] = 9.0
    assert [s.to_dict()["momentum_transfer"]["beta"] for s in made] == [1.5, 2.5, 3.5] == [s[BETA] for s in made]
    assert len({s.sha256 for s in made}) == 3
    made[0].to_dict()["momentum_transfer"]["beta"] = 9.0
    made[0].to_dict()["impactor"]["direction"]["radial"] = 9.0
    assert made[0][BETA] == made[0].to_dict()["momentum_transfer"]["beta"] == 1.5
    assert made[0]["impactor.direction.radial"] == made[0].to_dict()["impactor"]["direction"]["radial"] == 0.15


def test_constructed_scenarios_have_a_text_a_hash_and_read_back():
    one, other = by_constructor(), by_constructor().replace({BETA: 3.6})
    assert one.sha256 != other.sha256 and len(one.text) > 300
    for scenario in (one, other):
        assert Scenario.from_text(scenario.text).model_dump() == scenario.model_dump()
        assert Scenario.from_dict(scenario.to_dict()).sha256 == scenario.sha256


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda s: s.replace({BETA: -5}), "beta: -5 is given, allowed is 0 .. 100"),
        (lambda s: s.replace({"impactor.mas_kg": 500.0}), "impactor.mas_kg: unknown key; did you mean mass_kg?"),
        (lambda s: s.replace({"primary.semi_axes_m.3": 1.0}), "names no element, allowed is 0 .. 2"),
        (lambda s: s.replace({"secondary.mass_kg": 1e9}), "density_kg_m3 and mass_kg are both given"),
        (lambda s: s.replace({"impactor": None}), "momentum_transfer: it is given without an [impactor]"),
        (lambda s: s.replace({"name.first": "x"}), "name holds no further keys"),
        (lambda s: s.replace({7: "x"}), "a whole number is given, allowed is a text"),
        (lambda s: s.replace(7), "a whole number is given, allowed is None or a dictionary"),
        (lambda s: s.model_copy(update={"momentum_transfer": {"beta": -5}}), "beta: -5 is given"),
        (lambda s: s.model_copy(update={"impacter": s.impactor}), "impacter: unknown key; did you mean impactor?"),
        (lambda s: s.copy(update={"momentum_transfer": {"beta": -5}}), "beta: -5 is given"),
        (lambda s: s.impactor.model_copy(update={"mass_kg": -1.0}), "Impactor:mass_kg: -1 is given"),
        (lambda s: Impactor(mas_kg=1.0), "Impactor:mas_kg: unknown key; did you mean mass_kg?"),
        (lambda s: VelocityChange(1.0), "values are given without their keys"),
        (lambda s: MomentumTransfer.model_construct(beta=-5), "model_construct checks nothing"),
        (lambda s: setattr(s, "name", "x"), "scenario.replace({key: value}) gives another one"),
        (lambda s: setattr(s.impactor, "mass_kg", 1.0), "scenario.replace({key: value}) gives another one"),
        (lambda s: s["impacter.mass_kg"], "impacter.mass_kg: unknown key; did you mean impactor.mass_kg?"),
        (lambda s: Scenario.from_dict("pair.toml"), "a text is given, allowed is a dictionary"),
        (lambda s: Scenario(primary=3), "primary: 3 is given, allowed is a table"),
        (lambda s: Scenario.from_text(b"name = 1"), "Scenario.from_text: a bytes is given, allowed is a text"),
    ],
)
def test_python_is_refused_what_a_file_is(make, words):
    with pytest.raises(InputError) as caught:
        make(example())
    assert words in str(caught.value) and str(caught.value).isprintable() and isinstance(caught.value, ValueError)


def test_distributions_cannot_be_slipped_in():
    drawn = example().replace({"sampling": {"quantities": {BETA: {"normal": [2.2, 0.1]}}}})
    law = drawn.sampling.quantities[BETA]
    for slip in (lambda q: q.update({"x": law}), lambda q: q.pop(BETA), lambda q: q.__setitem__("x", law)):
        with pytest.raises(TypeError, match="replace"):
            slip(drawn.sampling.quantities)
    wider = drawn.replace({f'sampling.quantities."{BETA}".normal.1': 0.2})
    assert wider[f'sampling.quantities."{BETA}"'].normal == (2.2, 0.2) and drawn.sampling.quantities[BETA] == law
    assert pickle.loads(pickle.dumps(wider)).text == wider.text
    assert isinstance(Sampling(quantities={BETA: law}), Table)


def test_replace_takes_numbers_words_lists_tables_and_none():
    s = example()
    other = s.replace(
        {
            "simulation.integrator": "gauss",
            "primary.semi_axes_m": np.array([280.0, 262.0, 246.0]),
            "impactor.aim_offset_m.1": 4,
            "secondary.density_kg_m3": None,
            "secondary.mass_kg": 2.7e9,
            "velocity_change.radial_mm_s": None,
            "observation": {"estimator": "crossings"},
        }
    )
    assert (other["simulation.integrator"], other["observation.estimator"]) == ("gauss", "crossings")
    assert other.primary.semi_axes_m == (280.0, 262.0, 246.0) and other.impactor.aim_offset_m == (0.0, 4.0)
    assert (other.secondary.mass_kg, other.secondary.density_kg_m3, other.velocity_change) == (2.7e9, None, None)
    assert s.text == example().text and other["velocity_change.radial_mm_s"] is None


def test_rows_and_meshes_survive_a_change(tmp_path):
    """[[expected]] and [[input_sigma]] rows, and a mesh beside the file, also where its table goes elsewhere."""
    (tmp_path / "moon.obj").write_text(obj_text(*ellipsoid_mesh((72.0, 62.0, 50.0), 4)))
    text = example().text.replace("semi_axes_m = [70.0, 61.5, 48.0]", 'polyhedron = {file = "moon.obj", unit = "m"}')
    text += '\n[[expected]]\nquantity = "period_change_s"\nvalue = -1500.0\nsigma = 30\nsource = "invented"\n'
    text += '[[input_sigma]]\nkeys = ["impactor.mass_kg"]\nsigma = 5\nsource = "invented"\n'
    (tmp_path / "mesh.toml").write_text(text)
    loaded = load(tmp_path / "mesh.toml").replace(SHORT)
    other = loaded.replace({"impactor.mass_kg": 481.0})
    assert other.expected == loaded.expected and other.expected[0].sigma == (30.0, 30.0)
    assert other.input_sigma == loaded.input_sigma and other.secondary.polyhedron.path == tmp_path / "moon.obj"
    elsewhere = example().replace(SHORT | {"secondary": other.secondary, "impactor.mass_kg": 481.0})
    assert change_s(elsewhere) == change_s(other)
    assert Scenario.from_text(elsewhere.text).secondary.polyhedron.path == tmp_path / "moon.obj"


def test_a_file_is_read_from_any_folder(tmp_path, monkeypatch):
    """The folder of the mesh files is stored whole."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "moon.obj").write_text(obj_text(*ellipsoid_mesh((72.0, 62.0, 50.0), 4)))
    text = base().text.replace("semi_axes_m = [70.0, 61.5, 48.0]", 'polyhedron = {file = "moon.obj", unit = "m"}')
    write_prediction("m.h5", predict(Scenario.from_text(text, "mesh.toml")))
    (tmp_path / "other").mkdir()
    monkeypatch.chdir(tmp_path / "other")
    assert open_result("../m.h5").scenario.secondary.polyhedron.path == tmp_path / "moon.obj"


def test_to_toml_replaces_no_file(tmp_path):
    (tmp_path / "there.toml").write_text("mine")
    with pytest.raises(InputError, match="there is such a file already"):
        example().to_toml(tmp_path / "there.toml")
    assert example().to_toml() == example().text and main(["check", "--quiet"]) != 0


def test_to_toml_names_meshes_as_seen_from_the_new_file(tmp_path, monkeypatch):
    """In the folder of the mesh the text stays what was read; elsewhere the file can be read all the same."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "moon.obj").write_text(obj_text(*ellipsoid_mesh((72.0, 62.0, 50.0), 4)))
    text = base().text.replace("semi_axes_m = [70.0, 61.5, 48.0]", 'polyhedron = {file = "moon.obj", unit = "m"}')
    (tmp_path / "mesh.toml").write_text(text)
    (tmp_path / "other").mkdir()
    mesh = load("mesh.toml")
    assert mesh.to_toml("other/w.toml") == (tmp_path / "other" / "w.toml").read_text()
    assert load("other/w.toml").secondary.polyhedron.path == tmp_path / "moon.obj"
    assert mesh.to_toml("beside.toml") == mesh.to_toml() == text == (tmp_path / "beside.toml").read_text()


@pytest.mark.parametrize("wrong", [{"primary": 3}, {}, 3, None, {"momentum_transfer": {"beta": -5.0}}])
def test_the_library_below_refuses_in_a_sentence_too(wrong):
    with pytest.raises(InputError, match="^(scenario|Scenario.from_dict):"):
        Scenario.model_validate(wrong)
    assert Scenario.model_validate(base().to_dict()) == base()
