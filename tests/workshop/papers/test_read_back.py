"""Hole numbers in papers and DXF, read back by other programs; `read_back` itself does many frames."""

from dataclasses import replace

from recon.bench.random_frames import random_frame
from recon.workshop.export.dxf import frame_dxf
from recon.workshop.papers.compose import compose_papers
from recon.workshop.papers.pdf import papers_pdf
from tests.workshop.papers.read_back import dxf_faults, faults, pdf_faults


def test_every_hole_number_is_that_of_the_frame():
    assert faults(random_frame(1)) == []


def test_the_reader_sees_a_member_that_is_one_hole_off():
    frame = random_frame(3)
    first = frame.members[0]
    along = tuple(a + d for a, d in zip(first.first, first.direction))
    other = replace(frame, members=(replace(first, first=along), *frame.members[1:]))
    assert pdf_faults(other, papers_pdf(compose_papers(frame, {}).document))
    assert dxf_faults(other, frame_dxf(frame, {}))
