"""The demo job, prepared and set, read once for all tests of the handover."""

from pathlib import Path

import pytest

import tapehook
from tapehook.handover.pdf import render_pdf
from tapehook.job import read_job
from tapehook.prep import Prep, prepare
from tests.handover.pack_reading import Pack

DEMO = Path(tapehook.__file__).parent / "demo_job"


@pytest.fixture(scope="session")
def demo_prep() -> Prep:
    """The demo job, prepared."""
    return prepare(read_job(DEMO))


@pytest.fixture(scope="session")
def demo_pdf(demo_prep: Prep) -> bytes:
    """Its PDF on the job's own paper, A4."""
    return render_pdf(demo_prep)


@pytest.fixture(scope="session")
def demo_pack(demo_pdf: bytes) -> Pack:
    """The same, read back."""
    return Pack(demo_pdf)
