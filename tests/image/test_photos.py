"""Photo loading: every kind of file that a phone writes, and every kind of file that is no photo."""

import os
import struct
import zlib

import cv2
import numpy as np
import pytest
from PIL import Image

from recon.errors import ReconError
from recon.image import photos as P
from recon.image.duplicates import drop_duplicates

WIDE, HIGH = 720, 480


def scene(width=WIDE, height=HIGH, seed=1):
    """RGB picture with detail at all scales and four corners of known colour: red, green, blue, white,
    clockwise."""
    rng = np.random.default_rng(seed)
    picture = np.zeros((height, width, 3), np.float32)
    for side in (6, 24, 96):
        coarse = rng.random((side, side, 3), np.float32)
        picture += cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC)
    picture = np.clip(picture / 3 * 255, 0, 255).astype(np.uint8)
    k = height // 5
    picture[:k, :k], picture[:k, -k:] = (255, 0, 0), (0, 255, 0)
    picture[-k:, -k:], picture[-k:, :k] = (0, 0, 255), (255, 255, 255)
    return picture


def corners(colour):
    """Names of the corners' colours, clockwise from top left."""
    names = {(1, 0, 0): "red", (0, 1, 0): "green", (0, 0, 1): "blue", (1, 1, 1): "white"}
    k = 20
    spots = (colour[k, k], colour[k, -k], colour[-k, -k], colour[-k, k])
    return [names.get(tuple((spot > 127).astype(int).tolist())) for spot in spots]


UPRIGHT = ["red", "green", "blue", "white"]


def exif(**tags):
    block = Image.Exif()
    inner = block.get_ifd(0x8769)
    for name, value in tags.items():
        number = getattr(P.ExifTags.Base, name)
        (block if name == "Orientation" else inner)[number] = value
    return block


def write(path, picture=None, **options):
    Image.fromarray(scene() if picture is None else picture).save(path, **options)
    return path


@pytest.mark.parametrize("name", ["a.jpg", "a.png", "a.webp", "a.tif", "a.heic", "a.HEIF"])
def test_every_format_gives_the_same_picture(tmp_path, name):
    photo = P.load_photo(write(tmp_path / name, quality=95))
    assert photo.size == (WIDE, HIGH) and photo.name == name
    assert photo.colour.shape == (HIGH, WIDE, 3) and photo.colour.dtype == np.uint8
    assert photo.grey.shape == (HIGH, WIDE) and photo.grey.dtype == np.float32
    assert photo.grey.min() >= 0 and photo.grey.max() <= 1
    assert corners(photo.colour) == UPRIGHT
    assert np.abs(photo.colour.astype(int) - scene()).mean() < 3
    assert photo.f35_mm is None and photo.focal_prior_px is None


def test_the_contents_count_and_not_the_suffix(tmp_path):
    os.rename(write(tmp_path / "a.png"), tmp_path / "a.jpg")
    assert P.load_photo(tmp_path / "a.jpg").size == (WIDE, HIGH)


def test_grey_is_rec_601_luma_of_the_coded_values(tmp_path):
    # Rec. ITU-R BT.601-7, 2.5.1: E'Y = 0.299 E'R + 0.587 E'G + 0.114 E'B
    photo = P.load_photo(write(tmp_path / "a.png"))
    luma = scene().astype(float) @ [0.299, 0.587, 0.114] / 255
    assert np.abs(photo.grey - luma).max() < 0.6 / 255


# What each orientation does to the stored picture: Exif 2.3 (CIPA DC-008), tag 274: the visual places of row
# 0 and column 0.
STORED = {
    1: lambda a: a,
    2: lambda a: a[:, ::-1],
    3: lambda a: a[::-1, ::-1],
    4: lambda a: a[::-1],
    5: lambda a: a.transpose(1, 0, 2),
    6: lambda a: np.rot90(a, 1),  # row 0 is the visual right side
    7: lambda a: a[::-1, ::-1].transpose(1, 0, 2),
    8: lambda a: np.rot90(a, -1),
}


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("suffix", ["jpg", "png", "webp", "tif", "heic"])
def test_all_eight_orientations_come_out_upright(tmp_path, orientation, suffix):
    stored = np.ascontiguousarray(STORED[orientation](scene()))
    photo = P.load_photo(
        write(tmp_path / f"a.{suffix}", stored, exif=exif(Orientation=orientation).tobytes())
    )
    assert photo.size == (WIDE, HIGH)
    assert corners(photo.colour) == UPRIGHT


def test_nonsense_exif_is_no_hindrance(tmp_path):
    for k, block in enumerate(
        (b"Exif\0\0garbage", b"Exif\0\0II*\0\xff\xff\xff\xff", exif(Orientation=77).tobytes())
    ):
        photo = P.load_photo(write(tmp_path / f"{k}.jpg", exif=block))
        assert corners(photo.colour) == UPRIGHT and photo.f35_mm is None


def test_focal_length_from_exif_is_a_diagonal_measure(tmp_path):
    path = write(tmp_path / "a.jpg", exif=exif(FocalLengthIn35mmFilm=26).tobytes())
    photo = P.load_photo(path)
    assert photo.f35_mm == 26
    # angle of view across the diagonal equals that of 26 mm on the 36 x 24 mm film frame
    film = np.arctan(np.hypot(36, 24) / 2 / 26)
    assert np.arctan(np.hypot(WIDE, HIGH) / 2 / photo.focal_prior_px) == pytest.approx(film)


def test_focal_length_survives_a_turn_and_a_smaller_copy(tmp_path):
    block = exif(FocalLengthIn35mmFilm=26, ExifImageWidth=WIDE, ExifImageHeight=HIGH, Orientation=6).tobytes()
    large = P.load_photo(write(tmp_path / "a.jpg", np.rot90(scene()).copy(), exif=block))
    other = P.load_photo(write(tmp_path / "b.jpg", np.rot90(scene(1080, 720)).copy(), exif=block))
    assert other.focal_prior_px == pytest.approx(1.5 * large.focal_prior_px)


def test_focal_length_is_not_believed_after_a_crop():
    base = P.ExifTags.Base
    tags = {base.FocalLengthIn35mmFilm: 26, base.ExifImageWidth: 4000, base.ExifImageHeight: 3000}
    assert P.focal_35mm(tags, (2000, 1500)) == 26
    assert P.focal_35mm(tags, (1500, 2000)) == 26
    assert P.focal_35mm(tags, (2000, 2000)) is None


@pytest.mark.parametrize("value", [0, 3, 2000, "text", float("nan")])
def test_unbelievable_focal_lengths_are_not_used(value):
    assert P.focal_35mm({P.ExifTags.Base.FocalLengthIn35mmFilm: value}, (2000, 1500)) is None


@pytest.mark.parametrize("unit, per_mm", [(2, 1 / 25.4), (3, 1 / 10), (4, 1.0)])
def test_focal_length_from_a_known_sensor(unit, per_mm):
    base = P.ExifTags.Base
    per_unit = 6000 / 36 / per_mm  # a 36 x 24 mm sensor of 6000 x 4000 px: there 50 mm is 50 mm
    tags = {
        base.FocalLength: 50.0,
        base.FocalPlaneXResolution: per_unit,
        base.FocalPlaneResolutionUnit: unit,
        base.ExifImageWidth: 6000,
        base.ExifImageHeight: 4000,
    }
    assert P.focal_35mm(tags, (1500, 1000)) == pytest.approx(50.0)


def test_a_focal_length_without_its_sensor_says_nothing():
    assert P.focal_35mm({P.ExifTags.Base.FocalLength: 4.2}, (2000, 1500)) is None


def test_sixteen_bit_grey_is_read_to_half_a_step_of_eight_bits(tmp_path):
    ramp = np.tile(np.linspace(0, 65535, WIDE), (HIGH, 1)).astype(np.uint16)
    for name in ("a.png", "a.tif"):
        photo = P.load_photo(write(tmp_path / name, ramp))
        assert np.abs(photo.grey - ramp / 65535).max() < 0.51 / 255
        assert np.unique(photo.colour[0]).size == min(WIDE, 256)
        assert np.abs(photo.colour / 255 - photo.grey[:, :, None]).max() < 0.51 / 255


def test_twelve_bits_in_sixteen_are_not_near_black(tmp_path):
    ramp = np.tile(np.linspace(0, 4095, WIDE), (HIGH, 1)).astype(np.uint16)
    assert P.load_photo(write(tmp_path / "a.png", ramp)).grey.max() == pytest.approx(1.0)


def test_sixteen_bit_colour_is_read(tmp_path):
    deep = scene()[:, :, ::-1].astype(np.uint16) * 257
    for name in ("a.png", "a.tif"):
        assert cv2.imwrite(str(tmp_path / name), deep)
        assert corners(P.load_photo(tmp_path / name).colour) == UPRIGHT


@pytest.mark.parametrize(
    "mode, suffix",
    [("L", "jpg"), ("1", "png"), ("P", "png"), ("CMYK", "jpg"), ("CMYK", "tif"), ("LAB", "tif")],
)
def test_other_colour_models_become_rgb(tmp_path, mode, suffix):
    image = Image.fromarray(scene())
    if mode == "LAB":
        flat = np.zeros((HIGH, WIDE, 3), np.uint8)
        flat[:, :, 0] = 255
        image = Image.frombytes("LAB", (WIDE, HIGH), flat.tobytes())
    else:
        image = image.convert(mode)
    image.save(tmp_path / f"a.{suffix}")
    photo = P.load_photo(tmp_path / f"a.{suffix}")
    assert photo.colour.shape == (HIGH, WIDE, 3)
    if mode == "LAB":
        assert photo.grey.min() > 0.98  # L* = 100 is white
    elif mode in ("P", "CMYK"):
        assert corners(photo.colour) == UPRIGHT
    else:
        assert photo.grey[10, 10] < photo.grey[-10, 10]  # red is darker than white


@pytest.mark.parametrize("suffix", ["png", "webp", "tif"])
def test_see_through_parts_become_mid_grey(tmp_path, suffix):
    rgba = np.dstack([scene(), np.full((HIGH, WIDE), 255, np.uint8)])
    rgba[200:300, 300:400] = (0, 0, 0, 0)
    photo = P.load_photo(
        write(tmp_path / f"a.{suffix}", rgba, **({"lossless": True} if suffix == "webp" else {}))
    )
    assert corners(photo.colour) == UPRIGHT
    assert np.all(photo.colour[210:290, 310:390] == 128)


def test_a_palette_with_transparency_is_composited(tmp_path):
    image = Image.fromarray(scene()).quantize(16)
    index = image.getpixel((WIDE // 2, HIGH // 2))
    image.save(tmp_path / "a.png", transparency=index)
    assert tuple(P.load_photo(tmp_path / "a.png").colour[HIGH // 2, WIDE // 2]) == (128, 128, 128)


def test_the_first_picture_of_a_multi_picture_file_is_taken(tmp_path):
    first, second = Image.fromarray(scene()), Image.fromarray(255 - scene())
    first.save(tmp_path / "a.mpo", save_all=True, append_images=[second])
    assert corners(P.load_photo(tmp_path / "a.mpo").colour) == UPRIGHT


def png_declaring(width, height, compressed=b""):
    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", compressed) + chunk(b"IEND", b"")


def refusal(path):
    with pytest.raises(ReconError) as error:
        P.load_photo(path)
    text = str(error.value)
    assert path.name in text and "\n" not in text
    return text


@pytest.mark.parametrize("width, height", [(60000, 60000), (10000, 10000), (2**31 - 1, 2**31 - 1)])
def test_a_decompression_bomb_is_refused_by_its_declared_size(tmp_path, monkeypatch, width, height):
    def never(*_):
        raise AssertionError("pixels were decoded")

    monkeypatch.setattr(Image.Image, "load", never)
    monkeypatch.setattr("PIL.ImageFile.ImageFile.load", never)
    (tmp_path / "bomb.png").write_bytes(png_declaring(width, height, zlib.compress(b"\0" * 10_000_000)))
    assert "save a smaller copy" in refusal(tmp_path / "bomb.png")


def test_a_fifty_megapixel_photo_is_within_the_limit():
    P._check_size("a.jpg", (8192, 6144), P.MAX_PIXELS)
    P._check_size("a.jpg", (640, 480), P.MAX_PIXELS)


def test_files_that_are_no_photo_are_refused(tmp_path):
    (tmp_path / "zero.jpg").write_bytes(b"")
    assert "empty" in refusal(tmp_path / "zero.jpg")
    (tmp_path / "letter.jpg").write_text("Dear yard, the frame is ready.\n" * 50)
    assert "not a photo" in refusal(tmp_path / "letter.jpg")
    (tmp_path / "page.png").write_text("<!doctype html><script>alert(1)</script>")
    assert "not a photo" in refusal(tmp_path / "page.png")
    Image.fromarray(scene()).save(tmp_path / "drawing.gif")
    assert "JPEG, PNG, WebP, TIFF or HEIC" in refusal(tmp_path / "drawing.gif")
    write(tmp_path / "small.jpg", scene(290, 240))
    assert "too small" in refusal(tmp_path / "small.jpg")
    write(tmp_path / "strip.png", scene(6000, 100))
    assert "too small" in refusal(tmp_path / "strip.png")
    write(tmp_path / "web.jpg", scene(300, 200))
    assert P.load_photo(tmp_path / "web.jpg").size == (300, 200)
    assert "no such file" in refusal(tmp_path / "missing.jpg")
    (tmp_path / "folder.jpg").mkdir()
    assert "folder" in refusal(tmp_path / "folder.jpg")
    os.mkfifo(tmp_path / "pipe.jpg")
    assert "not a file" in refusal(tmp_path / "pipe.jpg")


@pytest.mark.skipif(os.geteuid() == 0, reason="root reads everything")
def test_a_file_without_read_permission_is_refused(tmp_path):
    write(tmp_path / "locked.jpg").chmod(0)
    assert "permissions" in refusal(tmp_path / "locked.jpg")


def test_an_unreadable_file_is_refused(tmp_path, monkeypatch):
    def denied(*_args, **_options):
        raise PermissionError(13, "Permission denied")

    write(tmp_path / "locked.jpg")
    monkeypatch.setattr(P.Path, "open", denied)
    assert "permissions" in refusal(tmp_path / "locked.jpg")


@pytest.mark.parametrize("suffix", ["jpg", "png", "webp", "tif", "heic"])
@pytest.mark.parametrize("share", [0.02, 0.3, 0.6, 0.95])
def test_a_file_cut_short_is_refused(tmp_path, suffix, share):
    whole = write(tmp_path / f"whole.{suffix}").read_bytes()
    cut = tmp_path / f"cut.{suffix}"
    cut.write_bytes(whole[: int(len(whole) * share)])
    assert "damaged" in refusal(cut)


@pytest.mark.parametrize("suffix", ["jpg", "png", "webp", "tif", "heic"])
def test_bytes_at_random_in_a_file_end_in_a_picture_or_a_sentence(tmp_path, suffix):
    whole = bytearray(write(tmp_path / f"whole.{suffix}", scene(640, 480)).read_bytes())
    rng = np.random.default_rng(3)
    for k in range(12):
        hurt = bytearray(whole)
        reach = 200 if k % 2 else len(hurt)  # every other time in the header, where it hurts most
        for at in rng.integers(0, reach, 8):
            hurt[at] = rng.integers(256)
        path = tmp_path / f"{k}.{suffix}"
        path.write_bytes(hurt)
        try:
            photo = P.load_photo(path)
        except ReconError:
            continue
        assert photo.grey.shape == photo.colour.shape[:2] == photo.size[::-1]


def test_folders_give_their_photos_in_natural_order(tmp_path):
    for name in ("photo_10.jpg", "photo_2.JPG", "b.heic", "notes.txt", ".hidden.jpg", "frame.json"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "more.jpg").mkdir()
    single = tmp_path / "notes.txt"
    assert [p.name for p in P.find_photos([tmp_path, single])] == [
        "b.heic",
        "photo_2.JPG",
        "photo_10.jpg",
        "notes.txt",
    ]


def test_paths_without_photos_are_refused_with_a_remedy(tmp_path):
    with pytest.raises(ReconError, match="holds no photos"):
        P.find_photos([tmp_path])
    (tmp_path / "inner").mkdir()
    with pytest.raises(ReconError, match="inner"):
        P.find_photos([tmp_path])
    with pytest.raises(ReconError, match="no such file"):
        P.find_photos([tmp_path / "nowhere"])
    with pytest.raises(ReconError, match="No photos were given"):
        P.find_photos([])


def test_one_broken_photo_keeps_no_other_from_being_read(tmp_path):
    good = write(tmp_path / "good.jpg")
    (tmp_path / "bad.jpg").write_bytes(good.read_bytes()[:4000])
    heard = []
    photos, broken = P.load_photos(
        [tmp_path / "bad.jpg", good], progress=lambda stage, done: heard.append((stage, done))
    )
    assert [p.name for p in photos] == ["good.jpg"]
    assert [name for name, _ in broken] == ["bad.jpg"] and broken[0][1].startswith("the file is damaged")
    assert heard == [("loading bad.jpg", 0.0), ("loading good.jpg", 0.5)]


def test_photos_of_one_name_get_names_of_their_own(tmp_path):
    for k, folder in enumerate(("left", "right")):
        (tmp_path / folder).mkdir()
        write(tmp_path / folder / "1.jpg", scene(seed=k))
    paths = [tmp_path / "left/1.jpg", tmp_path / "right/1.jpg", tmp_path / "right/1.jpg"]
    photos, _ = P.load_photos(paths)
    assert [p.name for p in photos] == ["1.jpg", "right/1.jpg", "right/1.jpg (2)"]


def test_names_that_no_terminal_can_show_are_mended(tmp_path):
    path = write(tmp_path / "a.jpg").rename(tmp_path / os.fsdecode(b"fr\xe4me\x1b[31m.jpg"))
    photos, _ = P.load_photos([path])
    assert photos[0].name == "fr?me?[31m.jpg" and photos[0].path == path


def test_the_same_pixels_twice_are_one_photo(tmp_path):
    a = P.load_photo(write(tmp_path / "a.png"))
    b = P.load_photo(write(tmp_path / "b.webp", lossless=True))
    assert a.digest == b.digest
    kept, dropped = drop_duplicates([a, b])
    assert kept == [a] and dropped[0][0] is b
    assert "same photo as a.png" in dropped[0][1]


def test_a_copy_sent_by_messenger_is_found_and_the_original_kept(tmp_path):
    large = scene(1600, 1200)
    small = cv2.resize(large, (640, 480), interpolation=cv2.INTER_AREA)
    copy = P.load_photo(write(tmp_path / "copy.jpg", small, quality=30))
    original = P.load_photo(write(tmp_path / "original.jpg", large, quality=95))
    other = P.load_photo(write(tmp_path / "other.jpg", scene(1600, 1200, seed=2)))
    kept, dropped = drop_duplicates([copy, original, other])
    assert [p.name for p in kept] == ["original.jpg", "other.jpg"]
    assert [(p.name, "copy of original.jpg" in why) for p, why in dropped] == [("copy.jpg", True)]


def test_a_photo_from_a_step_aside_is_not_a_copy(tmp_path):
    wide = scene(1700, 1200)
    left, right = wide[:, :1600].copy(), wide[:, 24:1624].copy()
    photos = [
        P.load_photo(write(tmp_path / name, view)) for name, view in (("l.jpg", left), ("r.jpg", right))
    ]
    assert drop_duplicates(photos) == (photos, [])
