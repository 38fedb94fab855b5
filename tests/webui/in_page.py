"""Functions that tests run in the page, with what its modules export; where each is stands here alone."""

import re

# What tests use of the page -> the module that exports it, under webui/static.
EXPORTED_BY = {
    "build": "core/build",
    "lapKey": "core/build",
    "chosen": "core/selection",
    "choose": "core/selection",
    "edit": "core/changes",
    "emit": "core/events",
    "changed": "core/repaint",
    "backdrop": "core/repaint",
    "live": "core/derived",
    "settled": "core/derived",
    "goToPlace": "pictures/look",
    "layers": "photos/modes",
    "notice": "core/messages",
    "markAt": "photos/mark-holes",
    "OPENING": "core/colours",
    "views": "pictures/arrangement",
    "boxOf": "space/box",
    "Vector3": "vendor/three.module.min",
}


def in_page(body: str, takes: str = "") -> str:
    """An async function for `page.evaluate`: what `body` uses of the page's modules is imported.

    body : its statements.   takes : its parameter, as in JavaScript.
    """
    used = [name for name in EXPORTED_BY if re.search(rf"(?:(?<![\w.$])|(?<=\.\.\.)){name}\b", body)]
    imports = " ".join(f"const {{{n}}} = await import('/static/{EXPORTED_BY[n]}.js');" for n in used)
    return f"async ({takes}) => {{ {imports}\n{body} }}"
