"""A job as an earlier version of the program kept it: its records hold what no limit of today lets in."""

from dataclasses import replace
from pathlib import Path

from tapehook.book.folders import read_folder
from tapehook.book.importing import Folder

TOML = """title = "Harbour"

[criterion]
coc_mm = 0.025 # as ever

[[cameras]]
letter = "A"
sensor_width_mm = 24.0
sensor_height_mm = 18.0
"""
OUT_OF_RANGE = {
    ("lenses", "focal_mm", 0.05),
    ("readings", "focal_mm", 0.035),
    ("charts", "t_stop", 0.2),
    ("tstops", "t_stop", 0.3),
    ("cameras", "sensor_width_mm", 0.5),
    ("criterion", "coc_mm", 25.0),
}
"""What the job holds: table, field, figure. All were kept before limits were drawn to those of the trade."""


def old_folder(path: Path) -> Folder:
    """A folder written to ``path`` with figures of today, as it was read before there were limits: with older ones."""
    path.mkdir()
    (path / "job.toml").write_text(TOML)
    (path / "lenses.csv").write_text("id,model,serial,focal_mm,t_stop,camera\nL1,Harbour 50,4711,50,1.4,A\n")
    readings = ("1 m,10,", "2 m,60,", "9 m,77,35")
    rows = "".join(f"L1,{one}\n" for one in readings)
    (path / "readings.csv").write_text(f"lens_id,distance_text,position,focal_mm\n{rows}")
    (path / "charts.csv").write_text("lens_id,chart_distance_m,position,t_stop\nL1,2,30,2\n")
    (path / "tstops.csv").write_text("lens_id,t_stop,level_stops\nL1,2.8,-0.1\n")
    read = read_folder(path)
    job = read.job  # copies are not validated: this is below the checks
    update = {
        "lenses": (job.lenses[0].model_copy(update={"focal_mm": 0.05}),),
        "readings": (*job.readings[:2], job.readings[2].model_copy(update={"focal_mm": 0.035})),
        "charts": (job.charts[0].model_copy(update={"t_stop": 0.2}),),
        "tstops": (job.tstops[0].model_copy(update={"t_stop": 0.3}),),
    }
    toml = TOML.replace("0.025", "25.0").replace("24.0", "0.5")
    return replace(read, job=job.model_copy(update=update), toml=toml, source="")
