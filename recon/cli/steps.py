"""`recon steps`: in which order to put a frame together."""

import argparse
import json
from typing import TYPE_CHECKING, Any

from recon.cli.common import (
    Subparsers,
    add_frame,
    add_question_arguments,
    add_results_folder,
    laps_json,
    print_answer,
    with_json_errors,
    write_results,
)

if TYPE_CHECKING:
    from recon.frame.model import Frame
    from recon.workshop.assembly.steps import BuildOrder

_DESCRIPTION = """\
Say in which order to put a frame together, so that every member comes straight to its place and every bolt
can be put in and tightened: nothing comes up from under the floor, what one lap alone holds is
named, and what is built lying is turned in a step of its own. Flat sides are put together on the floor first
where that takes fewer hands. Two identical frames get identical steps.

With -o the steps are also written into a folder: steps.html (for the printer, with a picture of each step)
and steps.json.
"""
_EPILOG = """\
examples:
  recon steps trestle/frame.json
  recon steps trestle/frame.json -o trestle/steps

exit codes: 0 done; 1 there is no such order for some members or all (it says what blocks what); 2 no answer
(a sentence says why); 3 a fault in recon itself; 130 stopped with Ctrl-C
"""


def add_parser(subparsers: Subparsers) -> None:
    """Add `recon steps` to the commands."""
    parser = subparsers.add_parser(
        "steps",
        help="say in which order to put a frame together",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_frame(parser)
    add_question_arguments(parser)
    add_results_folder(parser, "steps.html and steps.json")
    parser.set_defaults(run=with_json_errors(run))


def run(args: argparse.Namespace) -> int:
    """Run `recon steps`; returns its exit code."""
    from recon.frame.caution import CAUTION
    from recon.frame.files import load_frame
    from recon.frame.stock import load_stocks
    from recon.workshop.assembly.steps import build_steps, steps_text
    from recon.workshop.drawing.projections import drawn_hole

    stocks = load_stocks(args.stocks)
    frame = load_frame(args.frame, stocks)
    hole = drawn_hole(frame, stocks)
    steps = build_steps(frame, hole, not args.not_upright)
    data = _data(steps)
    files: list[str] = []
    if args.out and steps.steps:
        files = write_results(
            args,
            {
                "steps.json": json.dumps(data | {"caution": CAUTION}, indent=1) + "\n",
                "steps.html": _page(frame, steps, hole, not args.not_upright),
            },
        )
    print_answer(args, data, steps_text(steps, frame), files)
    return 0 if steps.steps and not steps.stuck else 1


def _data(steps: "BuildOrder") -> dict[str, Any]:
    """The steps as JSON has them."""
    return {
        "steps": [
            {
                "number": s.number,
                "kind": s.kind,
                "group": s.group,
                "new": list(s.new),
                "laid": list(s.laid),
                "there": list(s.there),
                "fittings": list(s.fittings),
                "direction": s.direction,
                "up": list(s.up),
                "up_before": s.up_before,
                "bolts": [[{"member": id, "hole": hole} for id, hole in b.through] for b in s.bolts],
                "heads": [list(head) for head in s.heads],
                "without_bolt": laps_json(s.bare),
                "hold": [list(group) for group in s.hands],
                "stands": s.steady,
                "text": s.text,
            }
            for s in steps.steps
        ],
        "groups": [list(g) for g in steps.groups],
        "stuck": list(steps.stuck),
        "why": list(steps.why),
        "finish": list(steps.finish),
    }


def _page(frame: "Frame", steps: "BuildOrder", hole: float, z_up: bool) -> str:
    """The steps with a picture each, for the printer."""
    from recon.frame.caution import CAUTION
    from recon.workshop.assembly.stage import Stage
    from recon.workshop.assembly.steps import LOOSE, SOME_ORDER
    from recon.workshop.assembly.tool_access import room_words
    from recon.workshop.drawing.vector import sheet_svg
    from recon.workshop.formats import heading, page, paragraph

    stage = Stage(frame, hole, z_up)
    body = [paragraph(CAUTION, "caution"), paragraph(LOOSE), paragraph(room_words(frame.pitch_mm))]
    if steps.stuck:
        body += [paragraph(SOME_ORDER), *map(paragraph, steps.why)]
    for s in steps.steps:
        picture = sheet_svg(stage.picture(s))
        body += [heading(s.title), paragraph(s.text), f"<figure>{picture[picture.index('<svg') :]}</figure>"]
    if steps.finish:
        body += [heading("At the end"), *map(paragraph, steps.finish)]
    return page(f"Build steps{': ' + frame.name if frame.name else ''}", body)
