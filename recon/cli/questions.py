"""What the commands that answer a question about a frame have in common."""

import argparse

HELP = "a frame file, as 'recon read' writes it or written by hand"


def add_common(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add(
        "--stocks",
        metavar="FILE",
        help="a TOML file with stock of your own, beside the list that comes with recon",
    )
    add(
        "--not-upright",
        action="store_true",
        help="z does not point up in the frame file: name axes instead of up and down",
    )
    add(
        "--json",
        action="store_true",
        help="print the result as JSON; holes count from 0 there, as in the frame file",
    )


def add_results(parser: argparse.ArgumentParser, what: str) -> None:
    add = parser.add_argument
    add("-o", "--out", metavar="DIR", help=f"folder to write {what} into")
    add("--overwrite", action="store_true", help="replace earlier results of this command")


def print_answer(args, data: dict, text: str, files=()) -> None:
    """The answer as JSON or as text, with the caution once."""
    import json

    from recon.frame.caution import CAUTION
    from recon.workshop.formats import wrapped

    if args.json:
        print(json.dumps(data | {"caution": CAUTION, "files": list(files)}))
        return
    print(
        "\n".join(wrapped(line.lstrip(), line[: len(line) - len(line.lstrip())]) for line in text.split("\n"))
    )
    print("\n" + wrapped(CAUTION))
    if files:
        print("\nWritten: " + ", ".join(files))


def laps_json(joints) -> list[dict]:
    from dataclasses import asdict

    return [asdict(j) for j in joints]
