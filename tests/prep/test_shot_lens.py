"""Shots with a lens that zooms, a close-up lens, a tube, an anamorphic lens: depth, field, and what is said of them."""

import numpy as np
import pytest

from tapehook.job import read_job
from tapehook.job.shots import Shot, shot_from
from tapehook.optics import depth_of_field, focus_state, thin_pupil
from tapehook.prep import Prep, prepare
from tapehook.prep.shot_findings import shot_findings
from tapehook.prep.shot_handover import handovers_of
from tapehook.prep.shot_lens import NoPlan
from tapehook.prep.shots import ShotPlan, field_deg, plan_shot
from tests.cli.running import ROOT

DEMO = ROOT / "src" / "tapehook" / "demo_job"
HERE = '[[people]]\nname = "Ada"\npath = [{ at_s = 0, place_m = [0, %s, 1.5] }, { at_s = 1, place_m = [0, %s, 1.5] }]\n'


@pytest.fixture(scope="module", name="prep")
def _prep() -> Prep:
    job = read_job(DEMO)
    wanted = ("L05", "L19")
    return prepare(job.model_copy(update={"lenses": tuple(one for one in job.lenses if one.id in wanted)}), brief=True)


def _shot(head: str, off_m: float) -> Shot:
    return shot_from(f"{head}\n{HERE % (off_m, off_m)}".encode(), "shots/x.toml")


def _plan(prep: Prep, head: str, off_m: float = 2.0) -> ShotPlan:
    return plan_shot(prep, _shot(head, off_m))


def test_depth_follows_the_focal_length_of_a_zoom(prep: Prep) -> None:
    """22 to 58 mm: each end of the lane at each frame is sharp by the depth of a thin lens of that focal length."""
    head = 'lens = "L19"\nstop = "T4"\nfocal_path = [{ at_s = 0, focal_mm = 22 }, { at_s = 1, focal_mm = 58 }]'
    plan = _plan(prep, head)
    assert plan.feasible
    unit = plan.ring.lens_map.degrees_per_unit
    for frame, focal in ((0, 0.022), (12, 0.040), (24, 0.058)):
        ends = [float(plan.ring.setting(np.full(25, end[frame] * unit))[frame]) for end in (plan.low, plan.high)]
        depth = depth_of_field(ends, focal, plan.stop.f_number, plan.ring.blur_m, thin_pupil(focal))
        # The far end of the depth set nearest is where she stands, and so is the near end of that set farthest.
        assert float(depth.far_m[int(np.argmin(ends))]) == pytest.approx(2.0, rel=2e-3)
        assert float(depth.near_m[int(np.argmax(ends))]) == pytest.approx(2.0, rel=2e-3)
    assert any("stay true while the zoom turns" in said for said in plan.assumptions)


@pytest.mark.parametrize("lens, focal_mm", [("L19", 20), ("L19", 60), ("L05", 35)])
def test_a_focal_length_the_lens_has_not_is_refused(prep: Prep, lens: str, focal_mm: float) -> None:
    """Beyond the range of the zoom, and any other than its own of a prime."""
    with pytest.raises(NoPlan, match="no other focal length") as refusal:
        _plan(prep, f'lens = "{lens}"\nfocal_path = [{{ at_s = 0, focal_mm = {focal_mm} }}]')
    assert refusal.value.field == "focal_path[1].focal_mm"


def test_a_close_up_lens_shifts_the_ring(prep: Prep) -> None:
    """Half a dioptre, 171 mm out: at 1.171 m from the plane the lens sees her 2 m before it, 1/(1/1 - 1/2)."""
    plan = _plan(prep, 'lens = "L05"\nstop = "T4"\nwithin = 0.01\nclose_up_dpt = 0.5\nfront_mm = 171', 1.171)
    assert plan.feasible
    assert plan.setting_m[0] == pytest.approx(2.171, rel=5e-3)
    assert plan.in_focus_m[0] == pytest.approx(1.171, rel=5e-3)
    other = _plan(prep, 'lens = "L05"\nstop = "T4"\nwithin = 0.01', 2.171)
    assert plan.position[0] == pytest.approx(other.position[0], abs=1e-6)


def test_what_a_close_up_lens_or_a_tube_cannot_reach_is_said(prep: Prep) -> None:
    """At 5 m with half a dioptre, or with 5 mm of tube: farther than it reaches, and no wrong curve."""
    for added in ("close_up_dpt = 0.5", "tube_mm = 5"):
        plan = _plan(prep, f'lens = "L05"\nstop = "T4"\n{added}', 5.0)
        assert not plan.feasible
        assert shot_findings(plan)[0].code == "shot.too_far"
        assert np.all(np.isfinite(plan.position))


def test_a_tube_gains_what_it_is_long(prep: Prep) -> None:
    """With 3 mm of tube the extension of the glass is that of the scale and 3 mm more."""
    plan = _plan(prep, 'lens = "L05"\nstop = "T4"\nwithin = 0.05\ntube_mm = 3', 0.7)
    assert plan.feasible
    ring, focal = plan.ring, float(plan.ring.focal_m)
    scale = ring.scale(plan.position * ring.lens_map.degrees_per_unit)[0]
    extension = [float(focus_state(at, focal, ring.pupil).extension_m) for at in (scale, plan.setting_m[0])]
    assert extension[1] - extension[0] == pytest.approx(0.003, rel=1e-6)


def test_squeeze_widens_the_field_and_leaves_the_depth(prep: Prep) -> None:
    """2x: the tangent of half the field is twice as large; the lane is that of the height, and it is said."""
    plain, wide = (_plan(prep, f'lens = "L05"\nstop = "T4"\ncamera = "A"\nsqueeze = {squeeze}') for squeeze in (1, 2))
    half = np.tan(np.radians(field_deg(plain)) / 2)
    # 35.8 mm before a 50 mm lens: 39.4 degrees at infinity, a little less as it breathes at 2 m.
    assert field_deg(plain)[0] == pytest.approx(38.5, abs=1.0)
    assert np.tan(np.radians(field_deg(wide)) / 2) == pytest.approx(2 * half)
    assert wide.low.tolist() == plain.low.tolist()
    assert any("that of the height" in said for said in wide.assumptions)


def test_off_speed_and_shutter_are_noted(prep: Prep) -> None:
    """48 frames a second shown at 24 last twice as long; 90 degrees of shutter at 48 a second are 5.2 ms."""
    head = 'lens = "L05"\nstop = "T4"\nframes_per_second = 48\nshown_at_fps = 24\nshutter_deg = 90'
    said = " ".join(_plan(prep, head).assumptions)
    assert "2 times as long" in said
    assert "5.2 ms" in said


def test_a_hand_over_is_told_with_its_soft_share(prep: Prep) -> None:
    """From Ada at 2 m to Ivo at 4 m within half a second: eleven frames, those counted in which neither is sharp."""
    text = (
        'lens = "L05"\nstop = "T2"\nlag_ms = 0\nmonitor_delay_ms = 0\n'
        + HERE % (2, 2)
        + (HERE % (4, 4)).replace("Ada", "Ivo")
    )
    text += '[[hold]]\nfrom_s = 0\nto_s = 1\nwho = ["Ada"]\n[[hold]]\nfrom_s = 1.5\nto_s = 2.5\nwho = ["Ivo"]\n'
    plan = plan_shot(prep, shot_from(text.encode(), "shots/x.toml"))
    (over,) = handovers_of(plan)
    assert (over.giver, over.taker, over.from_s, over.to_s, over.frames) == ("Ada", "Ivo", 1.0, 1.5, 11)
    optics = (0.050, plan.stop.f_number, plan.ring.blur_m, plan.ring.pupil)
    between = plan.setting_m[25:36]
    depth = depth_of_field(between, *optics)
    sharp = [((depth.near_m <= off) & (depth.far_m >= off)) for off in (2.0, 4.0)]
    assert over.soft_share == pytest.approx(float(np.mean(~(sharp[0] | sharp[1]))))
