"""`recon audit`: a built frame against its plan."""

import argparse

from recon.cli.questions import add_common, print_answer
from recon.cli.workshop import with_json_errors

_DESCRIPTION = """\
Compare a built frame with its plan and say what differs, in words to act on. Both are frame files from anywhere: they may
stand any way round and have any labels. What was out of sight in the photos (ends, bolts, members) is told as not checked.
"""
_EPILOG = """\
examples:
  recon audit built/frame.json plan.json

exit codes: 0 built as planned, and all of it was seen; 1 it differs; 4 cannot say (nothing differs for certain, but not all
was seen); 2 no answer (a sentence says why); 3 a fault in recon itself; 130 stopped with Ctrl-C
"""
CODES = {"same": 0, "different": 1, "cannot say": 4}


def add_parser(subparsers) -> None:
    parser = subparsers.add_parser("audit", help="compare a built frame with its plan", description=_DESCRIPTION, epilog=_EPILOG,
                                   formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("built", metavar="BUILT", help="the frame file of what was built, as 'recon read' writes it")
    parser.add_argument("plan", metavar="PLAN", help="the frame file of the plan")
    add_common(parser)
    parser.set_defaults(run=with_json_errors(run))


def run(args) -> int:
    from dataclasses import asdict

    from recon.frame.files import load_frame
    from recon.frame.stock import load_stocks
    from recon.workshop.audit import audit, audit_text

    stocks = load_stocks(args.stocks)
    result = audit(load_frame(args.built, stocks), load_frame(args.plan, stocks), not args.not_upright)
    print_answer(args, asdict(result), audit_text(result))
    return CODES[result.verdict]
