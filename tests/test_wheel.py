"""What people install holds all that the code needs."""

import subprocess
import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).parent.parent


def test_wheel_holds_every_file_of_the_package(tmp_path: Path) -> None:
    """Fonts, templates, the demo job and the schema travel with the code, as do licences and the command."""
    build = [sys.executable, "-m", "hatchling", "build", "--target", "wheel", "--directory", str(tmp_path)]
    subprocess.run(build, cwd=ROOT, check=True, capture_output=True)
    with zipfile.ZipFile(next(tmp_path.glob("*.whl"))) as wheel:
        names = set(wheel.namelist())
        entries = wheel.read(next(name for name in names if name.endswith("entry_points.txt"))).decode()
    listing = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard", "src/tapehook"]
    found = subprocess.run(listing, cwd=ROOT, check=True, capture_output=True, text=True).stdout.split("\0")
    ours = {name.removeprefix("src/") for name in found if name and (ROOT / name).is_file()}
    assert {"tapehook/py.typed", "tapehook/handover/fonts/OFL.txt"} <= ours <= names
    assert {name for name in names if ".dist-info/" not in name} == ours
    assert any(name.endswith("licenses/LICENSE") for name in names)
    assert "tapehook = tapehook.cli:main" in entries
