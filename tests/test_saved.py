"""What is saved and opened again is of the same class and has the same properties, bit for bit."""

import inspect
from dataclasses import fields, is_dataclass

import numpy as np
import pandas
import pytest
from short_sweeps import scenario

import binarydyn
from binarydyn.errors import InputError
from binarydyn.sampling import Sample

MASS = "impactor.mass_kg"
SHORT = {"simulation.days_before": 6.0, "simulation.days_after": 6.0}
DRAWN = {"sampling": {"count": 3, "quantities": {MASS: {"normal": [480.0, 5.0]}}}}


def plain(thing):
    """Something to compare by `==`: every bit of arrays, the fields of our own classes."""
    if isinstance(thing, pandas.DataFrame):
        return {name: plain(thing[name].to_numpy()) for name in thing}
    if hasattr(thing, "to_dataset_dict") or type(thing).__name__ == "Dataset":
        return {name: plain(variable.values) for name, variable in thing.variables.items()}
    if isinstance(thing, np.ndarray):
        return repr(thing.tolist())
    if isinstance(thing, binarydyn.Scenario):
        return thing.text, thing.place, thing.sha256
    if isinstance(thing, binarydyn.System):  # of its bodies a file has what is seen of a run, not their shapes
        densities = thing.primary.density_kg_m3, thing.secondary.density_kg_m3
        return thing.degree, thing.tolerance, densities, plain(thing.state)
    if is_dataclass(thing):
        return type(thing).__name__, {field.name: plain(getattr(thing, field.name)) for field in fields(thing)}
    if hasattr(thing, "items"):
        return {key: plain(value) for key, value in thing.items()}
    if isinstance(thing, list | tuple) or inspect.isgenerator(thing):
        return [plain(value) for value in thing]
    return repr(float(thing)) if isinstance(thing, float) else thing


def properties(thing) -> dict:
    """All that it shows: fields, properties, and what its methods without arguments return."""
    cls, found = type(thing), {}
    for name in (name for name in dir(cls) if not name.startswith("_")):
        attribute = inspect.getattr_static(cls, name)
        if isinstance(attribute, classmethod | staticmethod):
            continue
        takes_nothing = inspect.isfunction(attribute) and len(inspect.signature(attribute).parameters) == 1
        if takes_nothing:
            found[name] = getattr(thing, name)()
        elif not inspect.isfunction(attribute):
            found[name] = getattr(thing, name)
    return found | {field.name: getattr(thing, field.name) for field in fields(thing)}


def predicted():
    return binarydyn.predict(scenario().replace(SHORT))


def swept():
    return binarydyn.sweep(scenario(), {MASS: [300.0, -1.0], "momentum_transfer.beta": [1.0, 2.0]}, workers=1)


def listed():
    return binarydyn.sweep(scenario(), [{MASS: 400.0}, {MASS: 300.0}], table="summary", workers=1)


def drawn():
    asked = scenario().replace(DRAWN)
    return binarydyn.sweep(asked, Sample.of(asked, "sobol"), workers=1)


def timetable():
    return binarydyn.events(binarydyn.example(), days=1)


@pytest.mark.parametrize("make", [predicted, swept, listed, drawn, timetable])
def test_a_thing_is_the_same_after_it_was_saved_and_opened(make, tmp_path):
    live, path = make(), tmp_path / "thing.h5"
    binarydyn.save(path, live)
    again = binarydyn.open(path)
    assert type(again) is type(live)
    assert repr(again) == repr(live) and again._repr_html_() == live._repr_html_()
    ours, theirs = properties(live), properties(again)
    assert len(ours) >= 6 and ours.keys() == theirs.keys()
    for name in ours:
        assert plain(ours[name]) == plain(theirs[name]), name
    binarydyn.save(path, again)
    assert plain(properties(binarydyn.open(path))["scenario"]) == plain(live.scenario)
    assert (again == live) is False and (again == again) is True and (again == 3) is False


def test_what_is_not_in_the_file_is_said(tmp_path):
    with pytest.raises(AttributeError, match="a Members has no 'colour'"):
        _ = swept().colour


def test_what_has_no_layout_as_a_file_says_how_else_it_is_kept(tmp_path):
    run = binarydyn.simulate(binarydyn.build(scenario()), 1.0)
    with pytest.raises(
        InputError, match="a Trajectory is given, allowed is a Prediction, Members, Events or Reconstructed; its to_xar"
    ):
        binarydyn.save(tmp_path / "x.h5", run)
    with pytest.raises(TypeError, match="a dict is given"):
        binarydyn.save(tmp_path / "x.h5", {})
    assert not list(tmp_path.iterdir())


def test_nothing_else_is_replaced(tmp_path):
    binarydyn.save(tmp_path / "s.h5", swept())
    for thing, words in (
        (timetable(), "it holds a sweep, allowed is a timetable"),
        (listed(), "another design|rows of"),
    ):
        with pytest.raises(InputError, match=words):
            binarydyn.save(tmp_path / "s.h5", thing)
    with pytest.raises(InputError, match="there is no such file") as caught:
        binarydyn.open(tmp_path / "none.h5")
    assert "--" not in str(caught.value)


def test_members_are_added_to_those_of_the_same_sweep(tmp_path):
    whole = swept()
    binarydyn.save(tmp_path / "s.h5", whole)
    binarydyn.save(tmp_path / "s.h5", whole)
    assert binarydyn.open(tmp_path / "s.h5").df.equals(whole.df)
