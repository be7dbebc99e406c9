"""Short explanations, shown where a finding or a figure is met. The longer ones are in the documentation."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Topic:
    """One explanation: its title, its sentences, and the page of the documentation that says more."""

    title: str
    sentences: tuple[str, ...]
    more: str = ""


TOPICS: dict[str, Topic] = {
    "depth_used": Topic(
        "Depth used",
        (
            "How much of the room on one side of the focus an error takes, at the stop named beside it.",
            "At 100 % all of that room is gone, and what should be sharp there is soft.",
            "The room on one side is half of the depth, counted in vergence, where both sides are equal.",
        ),
        "optics.md",
    ),
    "map": Topic(
        "Lens map",
        (
            "The map says where the ring must stand for each distance, with a +- that holds 95 times in 100.",
            "It comes from the readings and is never typed. A reading that cannot be right is left out and named.",
            "Put a wrong reading right by reading the ring again; the old one stays in the history.",
        ),
        "lens-maps.md",
    ),
    "strips": Topic(
        "Strips",
        (
            "A strip is the map of the lens laid round its ring at 1:1. Measure the ring where the strip will lie.",
            "A broken tick was not read, or the map is not sure enough there; a bar across a tick is its +-.",
            "Print at 100 %, check the bar with a ruler, and look at infinity and one taped distance on a chart.",
        ),
        "strips.md",
    ),
    "radio": Topic(
        "Radio",
        (
            "One channel for a camera: its hand unit and its receivers share it. A margin is in dB; below 0 no link.",
            "What you try here is not kept. Local rules and the production's frequency coordinator decide.",
            "Only a walk test proves a plan: the farthest place, a body between, everybody else switched on.",
        ),
        "radio.md",
    ),
    "exposure": Topic(
        "Exposure and stop pulls",
        (
            "Exposure follows the T-stop; the constant of the meter is stated. Ways out say what they cost in depth.",
            "In a balanced stop pull the iris closes by as many stops as the filter opens: depth changes, light stays.",
            "What is tried here is kept only when you press keep. Hands off rings and gears while motors move.",
        ),
        "exposure.md",
    ),
    "minutes_left": Topic(
        "Minutes left",
        (
            "Each test nobody made yet, with what the lens may use of the depth before it and after it, at the stop.",
            "What was not measured is taken as it usually is, and said to be. Minutes are common practice, for two.",
            "A long test that does not fit into the minutes makes room for a short one that does.",
        ),
        "checks/minutes-left.md",
    ),
    "weather": Topic(
        "Cold and damp",
        (
            "Glass no warmer than the dew point of the air fogs, and focus moves until the lens has its temperature.",
            "How fast is assumed until a barrel was read twice, some minutes apart, in the same air.",
            "Until a lens has settled, find its focus by the picture and not by the marks.",
        ),
        "checks/dew.md",
    ),
    "morning": Topic(
        "Morning check",
        (
            "After a cold night three lenses on a chart, wide open, tell whether the whole kit moved, and how surely.",
            "The surest are fast and short. Three that agree say much; three that differ, little.",
            "Nobody shims for one morning: that is a lens technician's work, and the afternoon is warm.",
        ),
        "checks/morning.md",
    ),
    "extender": Topic(
        "Extenders and ports",
        (
            "An extender lengthens the lens and takes stops; its marks stay, and what is off takes more of the depth.",
            "The marks count from where the sensor was: take its length off each taped distance.",
            "Behind a port the ring says where the lens sees the subject, not where it stands in the water.",
        ),
        "checks/extenders.md",
    ),
    "next_mark": Topic(
        "What to measure next",
        (
            "The distance whose reading would narrow the map most, counted in depth used at the widest stop.",
            "It is often not where the doubt is widest: a mark between two doubtful places helps both.",
        ),
        "checks/next-mark.md",
    ),
    "backlash": Topic(
        "Backlash",
        (
            "The ring reads ahead of the glass by half the play, so the two ways of arriving differ.",
            "Read some marks both ways. From one way alone nobody can say where the middle is.",
        ),
        "lens-maps.md",
    ),
    "shot": Topic(
        "Shots",
        (
            "Where people and camera are at which moment gives the distances, and depth a lane the ring must keep to.",
            "The pull is the smoothest line through that lane; without one, the widest stop that works is named.",
            "What is tried here is kept only when you press keep.",
        ),
        "shots.md",
    ),
    "budget": Topic(
        "Focus budget",
        (
            "Everything that moves the focus, each as depth used at one stop, added up.",
            "Lasting errors add as they are. What scatters adds in squares.",
            "Terms marked as assumed were not measured on this lens.",
        ),
        "lens-maps.md",
    ),
    "flange": Topic(
        "Flange",
        (
            "Best focus on charts at several distances tells a sensor too far back or too near from a wrong scale.",
            "Where the tests cannot tell the two apart, that is said, with the test that would.",
            "A shim is a lens technician's work.",
        ),
        "checks/pupil.md",
    ),
    "pupil": Topic(
        "Pupil data",
        (
            "Depth runs from the entrance pupil of the lens. Where it is not known, a thin lens stands in, with a +-.",
            "One chart of known width at one taped distance gives it.",
        ),
        "checks/pupil.md",
    ),
    "light": Topic(
        "Light across the set",
        (
            "How much light each lens passes against the others of its set, in stops.",
            "Beyond a sixth of a stop a cut between two lenses may show it.",
        ),
        "checks/light.md",
    ),
    "heat": Topic(
        "Heat",
        (
            "A lens that was mapped warm and is used cold focuses elsewhere.",
            "Marks taped at two temperatures tell by how much; until then it is an assumption, and said to be one.",
        ),
        "checks/heat.md",
    ),
    "port": Topic(
        "Ports",
        (
            "Behind a flat port all looks nearer. A dome shows infinity some three radii off; focus there.",
            "A longer dome or a close-up lens helps a lens that cannot. Tape the first marks under water.",
        ),
        "checks/extenders.md",
    ),
    "glass": Topic(
        "Glass behind the lens",
        (
            "A filter or gel behind the lens puts the image back by about a third of its thickness.",
            "Marks made without it no longer hold with it: strips and tables are moved, the engraved ring is not.",
        ),
        "checks/glass.md",
    ),
    "stopping_down": Topic(
        "Stopping down",
        (
            "Best focus of many lenses moves when they are stopped down, as the rim of the glass is shut off.",
            "One chart found sharp at both stops tells by how much; strips and tables are then moved, the ring is not.",
        ),
        "checks/stopping-down.md",
    ),
    "zooming": Topic(
        "Zooms in full",
        (
            "A zoom may be sharp at another place of the ring at each focal length.",
            "Marks found by the picture at several focal lengths tell what one strip costs at each.",
        ),
        "checks/zooms.md",
    ),
    "anamorphic": Topic(
        "Anamorphic lenses",
        (
            "Upright and level lines may be sharp at two places of the ring; depth must serve both.",
            "Find best focus on both kinds of lines of one chart, and set focus between them.",
        ),
        "checks/anamorphic.md",
    ),
    "swap": Topic(
        "A lens is swapped",
        (
            "Strips, pulls, lent maps and charts hold for one serial number alone.",
            "Two marks of the lens that comes, a far and a near one, let it borrow the map of the one that goes.",
            "Nothing typed here is kept.",
        ),
        "checks/swap.md",
    ),
    "ends": Topic(
        "Ends of the ring",
        (
            "Room past infinity and at close focus, and the motor's ends against the hard stops.",
            "A motor that meets a hard stop can hurt the lens, its gear or a finger: hands off when it calibrates.",
        ),
        "checks/ring-ends.md",
    ),
    "twin": Topic(
        "Twins",
        (
            "Copies of one model differ. A map may be lent after two proof marks, from the stop that is named on.",
            "A borrowed map is always shown as borrowed.",
        ),
        "checks/twins.md",
    ),
    "lens": Topic(
        "The lens",
        (
            "What is known of the lens itself: serial, stop, focal length, blur left at best focus.",
            "What is missing is assumed in a way that is printed beside the figure.",
        ),
        "files.md",
    ),
    "camera": Topic(
        "The camera",
        ("What counts as sharp may depend on the sensor. Its size is written down on the Kit page.",),
        "files.md",
    ),
    "job": Topic(
        "The job",
        ("The shooting stop says how much depth there is; every share is given at it where it is known.",),
        "files.md",
    ),
    "stop": Topic(
        "Stop",
        (
            "Depth follows the f-number, exposure the T-stop. Where the transmission is not known, 85 % is assumed.",
            "An entered stop is one that somebody typed, because no motor reports it.",
        ),
        "optics.md",
    ),
    "sign_off": Topic(
        "Sign-off",
        (
            "Your name and the time, kept with the lens.",
            "When somebody measures it again later, the sign-off is old, and that is shown.",
        ),
        "pages.md",
    ),
}


def topic_of(code: str) -> str:
    """The topic of a finding, by its code."""
    if code == "map.next_mark":
        return "next_mark"
    if code.startswith("radio-"):
        return "radio"
    if code.startswith("stop_pull."):
        return "exposure"
    return code.partition(".")[0] if code.partition(".")[0] in TOPICS else "lens"
