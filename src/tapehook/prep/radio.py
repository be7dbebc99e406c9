"""The radio plan of a job: its radios and senders put on the air, and what was assumed where nothing was said."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from tapehook.job.problems import JobProblems, Problem
from tapehook.job.records import Emitter as EmitterRecord
from tapehook.job.records import Job, Radio
from tapehook.radio import REGIONS, STANDARDS, Channel, Permit, Refused, Use, permit
from tapehook.radio.air import Air, Emitter, Network, Place
from tapehook.radio.channels import FOCUS_STANDARDS, WIFI_2
from tapehook.radio.channels import channel as channel_of
from tapehook.radio.masks import RadioKind
from tapehook.radio.plan import RadioPlan, judge_plan, make_plan
from tapehook.radio.scan import Scan

MOST_RECEIVERS = 3
"""Receivers in one camera's network where the job does not say. Common practice, no source."""
BODY_LOSS_DB = 10.0
"""What a body takes of a wanted signal where the job does not say. No source."""
_APART_M, _LINK_M, _OTHERS_M = 5.0, 30.0, 10.0
_SENDS_DBM = 20.0
BAND_OF = {standard: band for band, standard in FOCUS_STANDARDS.items()}


TAKEN_EXPECTED = "a frequency in MHz such as 2450, or a stretch such as 2440-2460"


class Taken(NamedTuple):
    """A stretch of spectrum somebody else has taken, MHz."""

    low_mhz: float
    high_mhz: float

    @property
    def title(self) -> str:
        """As people say it."""
        same = self.low_mhz == self.high_mhz
        return f"{self.low_mhz:g} MHz" if same else f"{self.low_mhz:g} to {self.high_mhz:g} MHz"

    @classmethod
    def read(cls, text: str) -> "Taken":
        """From "2450" or "2440-2460", MHz. Raises ValueError for anything else."""
        number = r"(\d{1,6}(?:\.\d{1,6})?)"
        found = re.fullmatch(rf"\s*{number}\s*(?:[-–]\s*{number}\s*)?(?:MHz)?\s*", text, re.IGNORECASE)
        low = float(found[1]) if found else 0.0
        high = float(found[2]) if found and found[2] else low
        if not 1.0 <= low <= high <= 100_000.0:
            raise ValueError(TAKEN_EXPECTED)
        return cls(low, high)

    def touches(self, channel: Channel) -> bool:
        """True where the channel overlaps it."""
        return channel.low_mhz <= self.high_mhz and channel.high_mhz >= self.low_mhz


@dataclass(frozen=True)
class RadioPrep:
    """The plan, the air it was made for, permits and refusals by camera, and assumptions as sentences."""

    job: Job
    air: Air
    plan: RadioPlan
    permits: dict[str, dict[Channel, Permit]]
    refused: dict[str, dict[Channel, Refused]]
    assumptions: tuple[str, ...]
    judged: bool
    taken: tuple[Taken, ...] = ()


def plan_radio(
    job: Job,
    *,
    keep: Mapping[str, tuple[str, int]] | None = None,
    judge: Mapping[str, tuple[str, int]] | None = None,
    taken: Sequence[Taken] = (),
    scan: Scan | None = None,
    moved: Mapping[str, Place] | None = None,
    solver: bool = True,
    file: str = "plan",
) -> RadioPrep:
    """Plan the job's radios, keeping channels of ``keep`` where that can be done, or judge the plan ``judge``.

    Channels that touch ``taken`` are withdrawn; without ``keep``, the plan kept is then the one made before they were
    taken. What a ``scan`` heard counts beside the noise everywhere. ``moved`` puts radios and senders elsewhere, to see
    what that does, by keys such as "A hand 0", "A receiver 0" and "sender 0". Without ``solver`` it comes sooner
    and proves less of many cameras. Raises JobProblems without a region or radios, and with channels that do not exist
    in ``keep`` or ``judge``.
    """
    _check(job)
    given = _channels(keep if keep is not None else judge or {}, job, file)
    permits, refused, air = _on_the_air(job, (), scan, moved or {})
    before = given
    if taken:
        if keep is None and judge is None:
            before = make_plan(air, solver=solver).channels
        permits, refused, air = _on_the_air(job, taken, scan, moved or {})
    plan = (
        judge_plan(air, given, solver=solver)
        if judge is not None
        else make_plan(air, before or None, solver=solver, other=True)
    )
    said = _assumed(job, taken, scan)
    return RadioPrep(job, air, plan, permits, refused, tuple(said), judge is not None, tuple(taken))


def air_of(job: Job) -> Air:
    """Everything that sends on the job, before any channel is chosen. Raises JobProblems as ``plan_radio``."""
    _check(job)
    return _on_the_air(job, (), None, {})[2]


_Permits = dict[str, dict[Channel, Permit]]
_Refusals = dict[str, dict[Channel, Refused]]


def _on_the_air(
    job: Job, taken: Sequence[Taken], scan: Scan | None, moved: Mapping[str, Place]
) -> tuple[_Permits, _Refusals, Air]:
    """What each camera may use, and everything that sends."""
    permits: _Permits = {}
    refused: _Refusals = {}
    networks = []
    letters = sorted({radio.camera for radio in job.radios if radio.camera})
    for at, letter in enumerate(letters):
        radios = [radio for radio in job.radios if radio.camera == letter]
        permits[letter], refused[letter] = _offered(job.region or "", radios, taken)
        networks.append(_network(letter, at, radios, tuple(permits[letter])))
    emitters = tuple(_emitter(one, len(letters)) for one in job.emitters)
    networks = [_elsewhere(one, moved) for one in networks]
    emitters = tuple(replace(one, place=moved.get(f"sender {at}", one.place)) for at, one in enumerate(emitters))
    body_db = BODY_LOSS_DB if job.body_loss_db is None else job.body_loss_db
    return permits, refused, Air(tuple(networks), emitters, job.surroundings or "in_sight", body_db, scan)


def _elsewhere(network: Network, moved: Mapping[str, Place]) -> Network:
    """The network with the radios that were moved at their new places."""
    hands = tuple(moved.get(f"{network.letter} hand {at}", one) for at, one in enumerate(network.hands))
    ends = tuple(moved.get(f"{network.letter} receiver {at}", one) for at, one in enumerate(network.receivers))
    return replace(network, hands=hands, receivers=ends)


def _check(job: Job) -> None:
    """Refuse a job that says too little."""
    found = []
    if job.region not in REGIONS:
        found.append(Problem("job.toml", None, "region", job.region, f"one of {', '.join(REGIONS)}"))
    if not any(radio.camera for radio in job.radios):
        found.append(Problem("job.toml", None, "radios", None, "a table headed [[radios]] with the letter of a camera"))
    if found:
        raise JobProblems(found)


def _channels(plan: Mapping[str, tuple[str, int]], job: Job, file: str) -> dict[str, Channel]:
    """The channels of a plan in a file; problems name it."""
    letters = {radio.camera for radio in job.radios}
    found, problems = {}, []
    for letter, (band, number) in plan.items():
        if letter not in letters:
            expected = "a camera with a radio in job.toml"
            problems.append(Problem(file, None, f"networks.{letter}", letter, expected))
            continue
        try:
            found[letter] = channel_of(FOCUS_STANDARDS[band], number)
        except KeyError:
            expected = f"a channel of {FOCUS_STANDARDS[band]}"
            problems.append(Problem(file, None, f"networks.{letter}.channel", str(number), expected))
    if problems:
        raise JobProblems(problems)
    return found


def _offered(
    region: str, radios: list[Radio], taken: Sequence[Taken]
) -> tuple[dict[Channel, Permit], dict[Channel, Refused]]:
    """The channels that all radios of a camera can use, permitted and not, or taken by somebody else."""
    sets = [set(radio.bands or ["2450"]) for radio in radios]
    bands = [band for band in FOCUS_STANDARDS if all(band in one for one in sets)]
    use = Use(
        max(_kind(radio).eirp_dbm for radio in radios),
        max(1.0 if radio.duty is None else radio.duty for radio in radios),
        listens=all(radio.listens for radio in radios),
    )
    good: dict[Channel, Permit] = {}
    bad: dict[Channel, Refused] = {}
    for band in bands:
        for one in STANDARDS[FOCUS_STANDARDS[band]]:
            answer = permit(region, one, use)
            gone = next((other for other in taken if other.touches(one)), None)
            if gone is not None and isinstance(answer, Permit):
                answer = Refused("taken", f"{gone.title} is taken by somebody else", "as told with the plan")
            if isinstance(answer, Permit):
                good[one] = answer
            else:
                bad[one] = answer
    return good, bad


def _kind(radio: Radio) -> RadioKind:
    least = RadioKind()
    return RadioKind(
        least.eirp_dbm if radio.power_dbm is None else radio.power_dbm,
        least.sensitivity_dbm if radio.sensitivity_dbm is None else radio.sensitivity_dbm,
        least.adjacent_db if radio.adjacent_db is None else radio.adjacent_db,
        least.alternate_db if radio.alternate_db is None else radio.alternate_db,
        other_band_db=least.other_band_db if radio.other_band_db is None else radio.other_band_db,
        protection_db=least.protection_db if radio.co_channel_db is None else radio.co_channel_db,
    )


def _network(letter: str, at: int, radios: list[Radio], options: tuple[Channel, ...]) -> Network:
    """A camera's network: as receivers, the weakest figures of its radios count; each sends with its own power.

    A hand unit or receiver that is not listed sends as the strongest of those that are.
    """
    kinds = [_kind(radio) for radio in radios]
    hands = [radio for radio in radios if radio.role == "hand"]
    receivers = [radio for radio in radios if radio.role == "receiver"]
    strongest = max(one.eirp_dbm for one in kinds)
    kind = RadioKind(
        strongest,
        max(one.sensitivity_dbm for one in kinds),
        min(one.adjacent_db for one in kinds),
        min(one.alternate_db for one in kinds),
        other_band_db=min(one.other_band_db for one in kinds),
        protection_db=max(one.protection_db for one in kinds),
    )
    camera = Place(_APART_M * at, 0.0)
    beside = Place(camera.x_m, _LINK_M)
    sent = [[_kind(one).eirp_dbm for one in some] or [strongest] for some in (hands, receivers)]
    return Network(
        letter,
        kind,
        tuple(_place(one, beside) for one in hands) or (beside,),
        tuple(_place(one, camera) for one in receivers) or (camera,),
        options,
        (*sent[0], *sent[1]),
    )


def _letters(radios: list[Radio]) -> set[str]:
    return {radio.camera for radio in radios if radio.camera}


def _place(thing: Radio | EmitterRecord, otherwise: Place) -> Place:
    return otherwise if thing.x_m is None or thing.y_m is None else Place(thing.x_m, thing.y_m)


def _emitter(one: EmitterRecord, cameras: int) -> Emitter:
    """Somebody else's sender; without a place, beside the cameras."""
    place = _place(one, Place(_APART_M * (cameras - 1) / 2.0, -_OTHERS_M))
    power = _SENDS_DBM if one.power_dbm is None else one.power_dbm
    if one.wifi_channel is not None:
        wifi = channel_of(WIFI_2, one.wifi_channel)
        return Emitter(one.id, wifi.centre_mhz, wifi.width_mhz, power, place, ofdm=True)
    return Emitter(
        one.id, one.centre_mhz or 0.0, one.width_mhz or 1.0, power, place, ofdm=one.kind in {"wifi", "video"}
    )


def _assumed(job: Job, taken: Sequence[Taken], scan: Scan | None) -> list[str]:
    """One sentence for each thing that was assumed."""
    least, mine = RadioKind(), [radio for radio in job.radios if radio.camera]
    said = []
    if any(radio.bands is None for radio in mine):
        said.append("Radios that name no bands use 2450 MHz of IEEE 802.15.4.")
    if any(radio.power_dbm is None for radio in mine):
        said.append(f"Radios that name no power send {least.eirp_dbm:g} dBm EIRP.")
    if any(None in {radio.sensitivity_dbm, radio.adjacent_db, radio.alternate_db} for radio in mine):
        said.append(
            f"Receivers without a data sheet hear {least.sensitivity_dbm:g} dBm and reject {least.adjacent_db:g} dB "
            f"beside and {least.alternate_db:g} dB beyond: the least IEEE 802.15.4 asks."
        )
    if any(radio.x_m is None for radio in mine):
        said.append(f"Where no place is given: hand unit {_LINK_M:g} m from its camera, cameras {_APART_M:g} m apart.")
    if any(one.x_m is None or one.power_dbm is None for one in job.emitters):
        said.append(
            f"Senders without a place stand {_OTHERS_M:g} m off; without a power they send {_SENDS_DBM:g} dBm EIRP."
        )
    if job.surroundings is None:
        said.append("Links cross open ground in sight (ITU-R P.1411).")
    if any({radio.role for radio in mine if radio.camera == one} != {"hand", "receiver"} for one in _letters(mine)):
        said.append("A hand unit or receiver that is not listed sends as strongly as the camera's strongest radio.")
    if taken:
        what = " and ".join(one.title for one in taken)
        said.append(f"Channels that touch {what} are withdrawn; what is sent there does not count beside them.")
    if scan is not None:
        said.append(
            "What the scan heard is taken to be heard at every radio, each level as the power in its step; own radios "
            "were off. Senders listed besides count twice, on the safe side."
        )
    said += _assumed_without_source(job, mine)
    return said


def _assumed_without_source(job: Job, mine: Sequence[Radio]) -> list[str]:
    """The figures that no standard gives, where nobody entered them."""
    least, said = RadioKind(), []
    if job.body_loss_db is None:
        said.append(f"A body takes {BODY_LOSS_DB:g} dB of each wanted signal (body_loss_db, no source).")
    if any(radio.co_channel_db is None for radio in mine):
        said.append(
            f"A signal must stand {least.protection_db:g} dB above one on its own channel, where a radio does not say "
            "(co_channel_db, no source)."
        )
    if any(radio.other_band_db is None for radio in mine):
        said.append(
            f"Another band is rejected by {least.other_band_db:g} dB, where a radio does not say (other_band_db, no "
            "source)."
        )
    said.append("Other senders arrive as in free space.")
    return said
