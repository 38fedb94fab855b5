"""A frame by hand on the page, on a photo in which nothing can be read: plain grey, its rows known."""

from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from recon.frame.joints import find_joints
from recon.frame.model import Frame, Member
from tests.solve.scenes import camera_round
from tests.webui.browsing import DERIVED, drag, place, shot, until, wait_n
from tests.webui.in_page import in_page

SIZE = (1600, 1200)  # of `camera_round`
PHOTO = "grey.jpg"
POSTS = [Member("AB"[k], (9.0 * k, 0.0, 0.0), (0.0, 0.0, 1.0), 12) for k in (0, 1)]
RAILS = [
    Member("C", (-1.0, -1.0, 9.0), (1.0, 0.0, 0.0), 12),
    Member("D", (-1.0, 0.0, 3.0), (0.0, 1.0, 0.0), 10),
    Member("E", (10.0, 0.0, 5.0), (0.0, 1.0, 0.0), 10),
]
FRAME = Frame((*POSTS, *RAILS), find_joints((*POSTS, *RAILS)))
CAMERA = camera_round(FRAME, 30.0, 25.0, 1300.0)


def grey_photo(grey=128) -> bytes:
    data = BytesIO()
    Image.new("RGB", SIZE, (grey, grey, grey)).save(data, "JPEG")
    return data.getvalue()


def ends_of(member: Member, camera=CAMERA):
    """First and last opening of a member on the face that is turned most to the camera, px."""
    from tests.webui.browsing import face_openings

    return face_openings(type("Seen", (), {"camera": camera}), member)


def row(member: Member, photo=PHOTO, camera=CAMERA):
    (x0, y0), (x1, y1) = ends_of(member, camera)
    return {"op": "row", "photo": photo, "start": [x0, y0], "end": [x1, y1], "holes": member.holes}


@pytest.fixture
def drawn(asked):
    """A build of the grey photo with a row drawn along each member but the last."""
    assert asked.post("/api/photos", data=grey_photo(), X_Photo_Name=PHOTO).status_code == 200
    for member in FRAME.members[:-1]:
        assert asked.edit(**row(member)).status_code == 200
    return asked


def same_up_to_place(members, wanted) -> bool:
    from recon.frame.lattice import align

    return len(align(Frame(tuple(members)), Frame(tuple(wanted))).pairs) == len(wanted) == len(members)


def test_rows_give_the_camera_and_members_and_a_further_row_makes_it_better(drawn):
    found = drawn.post("/api/rows/answers", json={"photo": PHOTO}).json
    first = found["answers"][0]
    assert len(first["members"]) == 4 and set(first["shapes"]) == {m["id"] for m in first["members"]}
    taken = drawn.post("/api/rows/take", json={"photo": PHOTO, "answer": 0, "base": drawn.build.n})
    assert taken.json["again"] and "4 members" in taken.json["words"]
    frame = drawn.build.state.frame
    assert same_up_to_place(frame.members, FRAME.members[:-1]) and frame.photos[0].camera is not None
    # the last member, drawn on the photo: its row makes the camera better
    (x0, y0), (x1, y1) = ends_of(FRAME.members[-1])
    stroke = {"photo": PHOTO, "start": [x0, y0], "end": [x1, y1]}
    places = drawn.post("/api/stroke", json=stroke).json["strokes"]
    right = next(p for p in places if p["holes"] == 10 and p["laps"] == 1 and not p["clash"])
    ask = {"op": "add", **{key: right[key] for key in ("first", "direction", "holes")}}
    request = {**stroke, "holes": 10, "ask": ask, "base": drawn.build.n}
    assert drawn.post("/api/rows/add", json=request).status_code == 200
    assert same_up_to_place(drawn.build.state.frame.members, FRAME.members)
    assert len(drawn.build.state.corrections.rows[PHOTO]) == 5
    seen = drawn.build.state.frame.photos[0].camera
    assert abs(seen.f / CAMERA.f - 1) < 0.05
    # as one change: undone, both are gone
    drawn.post("/api/undo", json={"base": drawn.build.n})
    assert len(drawn.build.state.frame.members) == 4 and len(drawn.build.state.corrections.rows[PHOTO]) == 4


def test_rows_on_a_further_photo_give_its_camera_in_the_frame_that_is_there(drawn):
    drawn.post("/api/rows/take", json={"photo": PHOTO, "answer": 0, "base": drawn.build.n})
    n = len(drawn.build.state.frame.members)
    other, beside = "other.jpg", camera_round(FRAME, -35.0, 20.0, 1300.0)
    assert drawn.post("/api/photos", data=grey_photo(90), X_Photo_Name=other).status_code == 200
    for member in FRAME.members[:4]:
        assert drawn.edit(**row(member, other, beside)).status_code == 200
    found = drawn.post("/api/rows/answers", json={"photo": other}).json
    assert found["known"] and set(found["answers"][0]["shapes"]) == {
        m.id for m in drawn.build.state.frame.members
    }
    taken = drawn.post("/api/rows/take", json={"photo": other, "answer": 0, "base": drawn.build.n})
    assert taken.json["words"] == f"The camera of {other} by hand"
    frame = drawn.build.state.frame
    assert len(frame.members) == n and [p.file for p in frame.photos] == [PHOTO, other]
    # where the frame is seen there, its rows were drawn
    from tests.webui.browsing import face_openings

    drawn_ends = np.sort([np.sort(ends_of(m, beside), axis=0) for m in FRAME.members[:4]], axis=0)
    seen = np.sort([np.sort(face_openings(frame.photos[1], m), axis=0) for m in frame.members], axis=0)
    assert np.abs(seen - drawn_ends).max() < 12


def test_what_cannot_be_done_by_hand_is_said(asked):
    assert asked.post("/api/photos", data=grey_photo(), X_Photo_Name=PHOTO).status_code == 200
    few = asked.post("/api/rows/answers", json={"photo": PHOTO})
    assert few.status_code == 422 and "two directions" in few.json["problem"]
    counted = asked.post(
        "/api/rows/count", json={"photo": PHOTO, "start": [100, 100], "end": [500, 120]}
    ).json
    assert counted["holes"] is None and "type how many" in counted["words"]
    assert asked.post("/api/rows/answers", json={"photo": "other.jpg"}).status_code == 404
    wrong = asked.post("/api/outlines", json={"members": [{"id": 1}]})
    assert wrong.status_code == 422 and "no member" in wrong.json["problem"]


def test_a_hand_strokes_rows_types_counts_uses_them_and_draws_on_the_photo_and_in_3d(opened, serve, tmp_path):
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / PHOTO).write_bytes(grey_photo())
    page = opened(serve(tmp_path / "b").address)
    page.click("#panel >> text=Build by hand")
    until(
        page,
        in_page("return views.photos.get('grey.jpg').size && !views.photos.get('grey.jpg').frameRequest;"),
    )
    for k, member in enumerate(FRAME.members[:4]):
        drag(page, *(place(page, PHOTO, xy) for xy in ends_of(member)))
        page.wait_for_selector("#row-holes:focus")
        page.keyboard.type(str(member.holes))
        page.keyboard.press("Enter")
        wait_n(page, k + 1)
    page.wait_for_selector("text=Camera and 4 members")
    shot(page, "rows-by-hand")
    page.keyboard.press("Enter")
    until(page, in_page("return build.members.size === 4 && !build.rows;"))
    page.keyboard.press("2")
    # in 3-D: from a hole of a member on, as far as the hand goes
    first = in_page("return [...build.members.values()].find(m => m.holes === 10).id;")
    spots = page.evaluate(
        in_page(
            """const v = views.space, b = v.canvas.getBoundingClientRect();
      const m = build.members.get(id), n = [0, 0, m.width / 2];
      const on = p => { const q = new Vector3(...p).project(v.camera);
        return [b.left + (q.x + 1) / 2 * v.width, b.top + (1 - q.y) / 2 * v.deep]; };
      const at = m.first.map((x, i) => x + 6 * m.direction[i] + n[i]);
      const across = [m.direction[1], m.direction[0], 0].map(Math.abs);
      return [on(at), on(at.map((x, i) => x + n[i] + 6 * across[i]))];""",
            "id",
        ),
        page.evaluate(first),
    )
    drag(page, *spots)
    page.wait_for_selector("#card >> text=What was drawn fits")
    page.keyboard.type("8")
    page.wait_for_selector("text=New member, 8 holes")
    shot(page, "drawn-in-3d")
    page.keyboard.press("Enter")
    until(page, in_page("return build.members.size === 5;"))
    until(page, DERIVED)
    assert np.isclose(page.evaluate(in_page("return [...build.members.values()].at(-1).holes;")), 8)


def test_what_is_found_while_photos_are_read_is_counted_apart_from_those_that_are_done():
    from webui.processes.reading import ReadingStatus

    status = ReadingStatus(running=True)
    status = status.after({"found": "a.jpg", "whole": False})
    assert status.found == {"a.jpg": 1} and status.done == ()
    status = status.after({"found": "a.jpg", "whole": True})
    assert status.found == {"a.jpg": 2} and status.done == ("a.jpg",)


def test_the_time_of_a_reading_is_learnt_from_those_before(tmp_path, monkeypatch):
    import json

    from recon.frame.usual_stock import settings_folder
    from webui.storage.build import LEVELS, READING
    from webui.storage.pace import NAME, Work, expected_s, learn, work_of

    for key in ("XDG_CONFIG_HOME", "APPDATA"):
        monkeypatch.setenv(key, str(tmp_path / "settings"))
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    for name in ("a.jpg", "b.jpg"):
        (tmp_path / LEVELS / name).mkdir(parents=True)
        (tmp_path / LEVELS / name / "size.json").write_text(json.dumps({"size": [2000, 1500]}))
    work = work_of(tmp_path, ["a.jpg", "b.jpg"])
    assert work == Work(6.0, 6.0) and expected_s(work) is None
    learn(work, 60.0)
    learn(work, 72.0)
    learn(work, 900.0)  # once the machine was busy: the median does not mind
    assert expected_s(work) == pytest.approx(72.0)
    learn(Work(6.0, 0.0), 12.0)
    (tmp_path / READING).mkdir()
    (tmp_path / READING / "a.jpg.npz").touch()
    assert expected_s(work_of(tmp_path, ["a.jpg", "b.jpg"])) == pytest.approx(42.0)
    (settings_folder() / NAME).write_text("{")
    assert expected_s(work) is None and work_of(tmp_path, ["c.jpg"]) is None
