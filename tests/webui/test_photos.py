"""Photos for looking: every format upright, in levels that fit together; a damaged one keeps no other from
being seen."""

import io
import json
import subprocess
import sys

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from tests.waiting import patience
from tests.webui.conftest import ROOT
from webui.processes import decode
from webui.storage.build import LEVELS

pillow_heif.register_heif_opener()
SIZE = (2600, 1900)


def quadrants(size=SIZE) -> Image.Image:
    """A picture whose four quarters differ: red, green / blue, white."""
    image = Image.new("RGB", size, "white")
    w, h = size[0] // 2, size[1] // 2
    for colour, box in (("red", (0, 0, w, h)), ("lime", (w, 0, size[0], h)), ("blue", (0, h, w, size[1]))):
        image.paste(colour, box)
    return image


def run(mode, *pairs):
    done = subprocess.run(
        [sys.executable, "-m", "webui.processes.decode", mode, *map(str, pairs)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=patience(),
    )
    return [json.loads(line) for line in done.stdout.splitlines()], done.returncode


def corners(image):
    image = image.convert("RGB")
    w, h = image.size
    return [
        tuple(v > 128 for v in image.getpixel(p))
        for p in ((w // 8, h // 8), (w - w // 8, h // 8), (w // 8, h - h // 8))
    ]


UPRIGHT = [(True, False, False), (False, True, False), (False, False, True)]


@pytest.mark.parametrize(
    "ending, save",
    [
        ("jpg", {"quality": 90}),
        ("png", {}),
        ("webp", {"quality": 90}),
        ("tif", {}),
        ("heic", {"format": "HEIF", "quality": 90}),
    ],
)
def test_every_format_is_shown_quickly_and_in_full(tmp_path, ending, save):
    path = tmp_path / f"photo.{ending}"
    quadrants().save(path, **save)
    for mode in ("quick", "full"):
        (line,), code = run(mode, path, tmp_path / mode)
        assert (line, code) == ({"photo": path.name, "size": list(SIZE)}, 0)
        whole = Image.open(tmp_path / mode / "whole.jpg")
        assert max(whole.size) <= decode.LOOK and corners(whole) == UPRIGHT
        assert abs(whole.width / whole.height - SIZE[0] / SIZE[1]) < 0.01


@pytest.mark.parametrize("mode", ["quick", "full"])
@pytest.mark.parametrize(
    "orientation, turn",
    [(3, Image.Transpose.ROTATE_180), (6, Image.Transpose.ROTATE_90), (8, Image.Transpose.ROTATE_270)],
)
def test_a_turned_photo_stands_upright_in_both(tmp_path, mode, orientation, turn):
    exif = Image.Exif()
    exif[0x0112] = orientation
    quadrants().transpose(turn).save(tmp_path / "turned.jpg", exif=exif, quality=90)
    (line,), _ = run(mode, tmp_path / "turned.jpg", tmp_path / "out")
    assert line["size"] == list(SIZE) and corners(Image.open(tmp_path / "out/whole.jpg")) == UPRIGHT


def test_tiles_make_up_the_photo_at_every_level(tmp_path):
    rng = np.random.default_rng(1)
    image = Image.fromarray(rng.integers(0, 255, (19, 26, 3), dtype=np.uint8)).resize(SIZE, Image.BICUBIC)
    image.save(tmp_path / "a.png")
    run("full", tmp_path / "a.png", tmp_path / "out")
    told = json.loads((tmp_path / "out/size.json").read_text())
    assert told["levels"] == 2 and told["size"] == list(SIZE)
    for z in range(told["levels"]):
        made = Image.new("RGB", (-(-SIZE[0] // 2**z), -(-SIZE[1] // 2**z)))
        for tile in (tmp_path / f"out/{z}").glob("*.jpg"):
            x, y = map(int, tile.stem.split("_"))
            made.paste(Image.open(tile), (x * decode.TILE, y * decode.TILE))
        error = np.abs(np.asarray(made.resize((260, 190)), int) - np.asarray(image.resize((260, 190)), int))
        assert error.mean() < 4 and error.max() < 60


def test_a_photo_that_cannot_be_decoded_keeps_no_other_from_being_seen(tmp_path):
    (tmp_path / "bad.jpg").write_bytes(b"\xff\xd8\xff" + b"nonsense" * 50)
    quadrants((800, 600)).save(tmp_path / "good.jpg")
    lines, code = run("quick", tmp_path / "bad.jpg", tmp_path / "1", tmp_path / "good.jpg", tmp_path / "2")
    assert code == 0 and "problem" in lines[0] and lines[1]["size"] == [800, 600]


def test_a_process_that_is_killed_by_a_photo_costs_that_photo_alone(tmp_path, monkeypatch):
    from webui.storage import photo_store
    from webui.storage.build import PHOTOS, Build

    build = Build(tmp_path / "b")
    for name in ("a.jpg", "b.jpg", "c.jpg"):
        quadrants((800, 600)).save(build.folder / PHOTOS / name)
    # Stands for a photo on which the decoder crashes: the program ends itself when it comes to b.jpg.
    crash = (
        "import sys, os, webui.processes.decode as d\nquick = d.quick\n"
        "d.quick = lambda p, f: os.abort() if p.name == 'b.jpg' else quick(p, f)\n"
        "sys.exit(d.main(sys.argv[1:]))"
    )
    real = subprocess.Popen
    monkeypatch.setattr(
        photo_store.subprocess,
        "Popen",
        lambda command, **kw: real([command[0], "-c", crash, *command[3:]], **kw),
    )
    looked_after = photo_store.PhotoStore(build)
    looked_after._prepare("quick", ["a.jpg", "b.jpg", "c.jpg"])
    assert [looked_after.wait_for(n, "whole.jpg", 0.1) is not None for n in ("a.jpg", "b.jpg", "c.jpg")] == [
        True,
        False,
        True,
    ]
    assert "could not be decoded within the limits" in looked_after.problem("b.jpg")
    build.close()


def test_the_decoder_limits_itself():
    program = (
        "import webui.processes.decode as d\nd.MEMORY = 300 * 2**20\nd.limit()\n"
        "try:\n    bytearray(2**30)\nexcept MemoryError:\n    print('refused')"
    )
    assert (
        subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True).stdout
        == "refused\n"
    )


def test_a_folder_of_photos_becomes_a_build_and_is_left_as_it_was(tmp_path):
    from webui.storage.build import Build

    quadrants((800, 600)).save(tmp_path / "photo_2.jpg")
    quadrants((800, 600)).save(tmp_path / "photo_10.jpg")
    build = Build(tmp_path)
    assert build.photo_files() == ["photo_2.jpg", "photo_10.jpg"]
    assert (tmp_path / "photo_2.jpg").is_file()
    build.close()


def test_a_photo_taken_out_is_kept_aside(asked):
    buffer = io.BytesIO()
    quadrants((800, 600)).save(buffer, "JPEG")
    asked.post("/api/photos", data=buffer.getvalue(), X_Photo_Name="a.jpg")
    assert asked.post("/api/photos/a.jpg/remove", json={}).get_json() == {"removed": "a.jpg"}
    assert asked.build.photo_files() == [] and len(list((asked.build.folder / "removed").iterdir())) == 1


def test_a_photos_own_size_is_known_as_soon_as_its_small_picture_is_there(asked):
    # rows stroked before there were tiles lay in px of the small picture
    path = asked.build.folder / "photos" / "wide.jpg"
    path.parent.mkdir(exist_ok=True)
    photo = Image.new("RGB", (1800, 2400), (90, 120, 90))
    exif = photo.getexif()
    exif[0x0112] = 6  # lies on its side
    photo.save(path, exif=exif)
    assert asked.get("/api/photos/wide.jpg/size").json == {"size": None}
    decode.quick(path, asked.build.folder / LEVELS / "wide.jpg")
    assert asked.get("/api/photos/wide.jpg/size").json == {"size": [2400, 1800]}
    (row,) = asked.get("/api/build").json["photos"]
    assert row["size"] == [2400, 1800] and row["levels"] is None
    small = Image.open(io.BytesIO(asked.get("/api/photos/wide.jpg/whole.jpg").data))
    assert max(small.size) == decode.LOOK
    assert asked.get("/api/photos/none.jpg/size").status_code == 404
