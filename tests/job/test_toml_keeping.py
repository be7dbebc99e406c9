"""Comments and keys of others stay in the file of a shot, whatever is changed in it, and it reads as the shot kept."""

import tomllib
from collections import Counter
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tapehook.job.shot_writing import shot_text
from tapehook.job.shots import shot_from, shot_of
from tapehook.job.stop_pull_writing import stop_pull_text
from tapehook.job.stop_pulls import stop_pull_from
from tapehook.job.toml_keeping import comments_of, kept_text, same
from tests.cli.running import ROOT

SHOTS = ROOT / "src" / "tapehook" / "demo_job" / "shots"

_REMARK = st.text("abc #\"'[]=\\é1", max_size=8).map(lambda text: f"# {text}")
_PLACE = "place_m = [0.5, 2, 1.6]"


@st.composite
def _texts(draw: st.DrawFn) -> str:
    """A shot as people write it: remarks anywhere, paths as tables or lists, keys of others, either line end."""
    lines = list[str]()

    def line(text: str) -> None:
        lines.extend(draw(st.lists(_REMARK | st.just(""), max_size=2)))
        lines.append(text + (f"  {draw(_REMARK)}" if draw(st.booleans()) else ""))

    for key in draw(st.permutations(['lens = "L05"', 'stop = "T4"', "frames_per_second = 24", "scene.take = 7"])):
        line(key)
    if draw(st.booleans()):
        line('note = """\n# no remark\n[[people]]\n"""')
    for name in draw(st.permutations(["Ada", "Ivo", "Bas"]))[: draw(st.integers(1, 3))]:
        line("[[people]]")
        line(f'name = "{name}"')
        line(draw(st.sampled_from(["lean_cm = 5", "colour = 'red # blue'", "shoe = 43"])))
        _path(draw, line, draw(st.integers(1, 3)))
        first = name
    for at in range(draw(st.integers(1, 3))):
        line("[[hold]]")
        line(f"from_s = {at}")
        line(f'to_s = {at + 1}\nwho = ["{first}"]')
    if draw(st.booleans()):
        line("[stop_pull]")
        line('course = [\n  { at_s = 0, stop = "T2" }, # here\n  { at_s = 1, stop = "T4" }\n]')
    return draw(st.sampled_from(["\n", "\r\n"])).join("\n".join([*lines, draw(_REMARK)]).split("\n"))


def _path(draw: st.DrawFn, line: Any, count: int) -> None:  # noqa: ANN401 - the function that writes a line
    match draw(st.sampled_from(["tables", "list", "lines"])):
        case "tables":
            for at in range(count):
                line("[[people.path]]")
                line(f"at_s = {at}")
                line(_PLACE)
        case "list":
            line("path = [" + ", ".join(f"{{ at_s = {at}, {_PLACE} }}" for at in range(count)) + "]")
        case _:
            points = "".join(f"  {{ at_s = {at}, {_PLACE} }}, {draw(_REMARK)}\n" for at in range(count))
            line(f"path = [\n{points}]")


def _edited(draw: st.DrawFn, shot: dict[str, Any]) -> dict[str, Any]:
    """The shot after a few changes that the page can make."""
    changed = {**shot, **draw(st.fixed_dictionaries({}, optional={"stop": st.just("T5.6"), "lag_ms": st.just(40.0)}))}
    people = [one for one in shot["people"] if draw(st.integers(0, 3))] or shot["people"][:1]
    changed["people"] = [{**one, "path": _moved(draw, one["path"])} for one in draw(st.permutations(people))]
    if draw(st.booleans()):
        changed["people"].append({"name": "New", "path": [{"at_s": 0.0, "place_m": [0.0, 3.0, 1.5]}]})
    there = [one["name"] for one in changed["people"]]
    holds = [hold for hold in shot.get("hold", []) if draw(st.booleans()) and set(hold["who"]) <= set(there)]
    changed["hold"] = [*holds, {"from_s": 4.0, "to_s": 4.5, "who": there}]
    return changed


def _moved(draw: st.DrawFn, path: list[dict[str, Any]]) -> list[dict[str, Any]]:
    points = [point for point in path if draw(st.integers(0, 3))] or path
    points = [{**one, "place_m": draw(st.sampled_from([one["place_m"], [1.0, 4.0, 1.7]]))} for one in points]
    last = {"at_s": points[-1]["at_s"] + 1.0, "place_m": [0.0, 3.0, 1.5]}
    return [*points, last] if draw(st.booleans()) else points


@given(st.data())
@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
def test_comments_and_keys_of_others_stay(data: st.DataObject) -> None:
    """A shot written by hand, changed on the page and kept: each comment is there as often as before, each key that
    a shot has not, and the file reads as the shot that was kept; kept again it stays as it is."""
    before = data.draw(_texts())
    old = shot_from(before.encode(), "x").model_dump(exclude_defaults=True, exclude_none=True)
    wanted = shot_of(data.draw(st.composite(lambda draw: _edited(draw, old))()), "x")
    after = shot_text(wanted, before)
    assert shot_from(after.encode(), "x") == wanted
    assert Counter(comments_of(after)) == Counter(comments_of(before))
    found, there = tomllib.loads(after), tomllib.loads(before)
    for key in ("scene", "note", "stop_pull"):
        assert found.get(key) == there.get(key)
    shoes = {one["name"]: (one.get("shoe"), one.get("colour")) for one in there["people"]}
    for one in found["people"]:
        assert (one.get("shoe"), one.get("colour")) == shoes.get(one["name"], (None, None))
    assert shot_text(wanted, after) == after


def test_a_shot_kept_as_it_is_stays_to_the_byte() -> None:
    """Nothing changed: nothing is written otherwise, down to spaces and whole numbers."""
    for path in sorted(SHOTS.glob("*.toml")):
        text = path.read_text(encoding="utf-8")
        assert shot_text(shot_from(text.encode(), "x"), text) == text


def test_a_changed_line_keeps_its_comment_and_its_neighbours() -> None:
    """One figure changed: one line differs, and its remark is on it."""
    text = (SHOTS / "supper.toml").read_text(encoding="utf-8").replace('stop = "T4"', 'stop = "T4" # agreed')
    shot = shot_from(text.encode(), "x").model_copy(update={"stop": "T5.6"})
    assert shot_text(shot, text) == text.replace('"T4" # agreed', '"T5.6" # agreed')


def test_a_comment_before_a_header_goes_with_what_follows() -> None:
    """The last waypoint before it is taken out: the remark still stands before the table that it is about."""
    text = (SHOTS / "supper.toml").read_text(encoding="utf-8")
    shot = shot_from(text.encode(), "x")
    bas = shot.people[1].model_copy(update={"path": [*shot.people[1].path, *shot.people[0].path]})
    longer = shot_text(
        shot.model_copy(
            update={
                "people": [
                    shot.people[0],
                    bas.model_copy(update={"path": [bas.path[0], bas.path[1].model_copy(update={"at_s": 2.0})]}),
                ]
            }
        ),
        text,
    )
    for written in (longer, shot_text(shot, longer)):
        cue = written.index("# The cue is")
        assert written[cue:].splitlines()[1] == "[[hold]]"


def test_a_comment_on_what_is_taken_out_stands_at_the_end() -> None:
    """Nobody's words are thrown away with a waypoint."""
    text = 'lens = "L05"\n[[people]]\nname = "Ada"\n[[people.path]]\nat_s = 0\nplace_m = [0, 2, 1.6]\n'
    text += "[[people.path]]\nat_s = 1 # sits down\nplace_m = [0, 3, 1.6]\n"
    shot = shot_from(text.encode(), "x")
    ada = shot.people[0].model_copy(update={"path": [shot.people[0].path[0].model_copy(update={"at_s": 2.0})]})
    written = shot_text(shot.model_copy(update={"people": [ada]}), text)
    assert written.endswith("\n\n# sits down\n")


def test_a_text_that_cannot_be_changed_in_its_place_keeps_its_comments() -> None:
    """People in two parts of a file, which the library puts apart: written anew, each remark at the head."""
    text = '[[people]] # one\nname = "Ada"\n[other]\nz = 1\n[[people]] # two\nname = "Ivo"\n'
    wanted = {"people": [{"name": "Ada", "shoe": 3}, {"name": "Ivo"}, {"name": "Bas"}], "other": {"z": 1}}
    written = kept_text(text, wanted)
    assert tomllib.loads(written) == wanted
    assert sorted(comments_of(written)) == ["# one", "# two"]


def test_comments_inside_a_stop_pull_stay_too() -> None:
    """The stop pull of the demo, its speed changed on the page: the remarks in its table and in its course stay."""
    text = (SHOTS / "window.toml").read_text(encoding="utf-8")
    text = text.replace("extra_speed_deg_s = 120", "extra_speed_deg_s = 120 # as measured")
    plan = stop_pull_from(text.encode(), "x").model_copy(update={"iris_speed_deg_s": 150.0})
    written = stop_pull_text(plan, text)
    assert written == text.replace("iris_speed_deg_s = 200", "iris_speed_deg_s = 150.0")


def test_what_is_no_number_is_the_same_twice_and_true_is_not_one() -> None:
    """Values of TOML that Python's own comparison gets wrong."""
    nan = float("nan")
    assert same({"a": [nan, 2]}, {"a": [nan, 2.0]})
    assert not same({"a": True}, {"a": 1})
    assert not same({"a": [1]}, {"a": [1, 2]})
