"""The page in a window, by nicegui's own simulated user: from no garden to a garden, and what happens elsewhere."""

from __future__ import annotations

import asyncio
import socket

from nicegui import ui
from nicegui.elements.upload_files import SmallFileUpload
from nicegui.testing import user_simulation

from panbudget.page.desk import Desk, Tried
from panbudget.page.guard import HOST
from panbudget.page.questions import screens
from panbudget.page.server import listening, window_of
from tests.garden_file import write_garden, years_csv


def _simulated(desk, act):
    async def run():
        async with user_simulation(root=window_of(desk)) as user:
            work = asyncio.create_task(desk.work())
            await user.open("/")
            await act(user)
            work.cancel()

    asyncio.run(run())


def test_a_garden_is_made_from_nothing_by_answering(tmp_path):
    desk = Desk(tmp_path / "mine" / "yard.toml")  # as `open` may be given it

    async def answers(user):
        for number, screen in enumerate(screens(), 1):
            await user.should_see(screen.title)
            await user.should_see(f"Question {number} of 7")
            if screen.key == "place":
                user.find(marker="latitude").clear().type("north")
                user.find("Next").click()
                await user.should_see("is no number: write it such as 43.5")
                user.find(marker="latitude").clear().type("43")
            if screen.of != "bed":
                user.find("Next").click()
        user.find("Another valve").click()
        await user.should_see("Question 8 of 10; Valve yard 2")
        for _ in range(2):
            user.find("Next").click()
        user.find("Another bed").click()
        await user.should_see("Question 11 of 11")
        user.find("Take this bed away").click()
        await user.should_see("Question 10 of 10")
        user.find("Write the garden").click()
        await user.should_see("The season", retries=60)
        await user.should_see("through the valves", retries=60)

    _simulated(desk, answers)
    assert "latitude = 43 " in desk.text()
    assert desk.state == "ready"
    assert {key.split("/")[0] for key in desk.settings} == {"yard", "yard 2"}


def test_an_uploaded_file_is_looked_at_and_never_put_in_place_of_another(tmp_path):
    """A folder of the file's name, and a place that can't be written, were answered with nothing."""
    desk = Desk(tmp_path / "mine" / "yard.toml")
    (tmp_path / "mine" / "folder.csv").mkdir(parents=True)
    (tmp_path / "mine" / "other.csv").write_text("kept", encoding="ascii")
    cases = {
        "station.csv": "Plain table: comma between columns",
        "folder.csv": "folder.csv: is not a plain file",
        "other.csv": "other.csv is there already, with other figures",
        "notes.toml": "notes.toml can't be a weather file here",
    }

    async def uploads(user):
        desk.answers |= {"latitude": "43", "weather": "file"}
        desk.screen = [screen.key for screen in screens()].index("weather")
        desk.tell("asked")
        (upload,) = user.find(ui.upload).elements
        for name, said in cases.items():
            await upload.handle_uploads([SmallFileUpload(name, "text/csv", years_csv(2021, 2021).encode())])
            await user.should_see(said)

    _simulated(desk, uploads)
    assert desk.answers["weather_file"] == str(tmp_path / "mine" / "station.csv")
    assert (tmp_path / "mine" / "station.csv").read_text(encoding="ascii") == years_csv(2021, 2021)
    assert (tmp_path / "mine" / "other.csv").read_text(encoding="ascii") == "kept"
    assert sorted(path.name for path in (tmp_path / "mine").iterdir()) == ["folder.csv", "other.csv", "station.csv"]


def test_what_changes_elsewhere_is_seen_and_a_broken_file_is_mended(tmp_path):
    desk = Desk(write_garden(tmp_path, years_csv(2021, 2021), start="2021-07-01", end="2021-07-12"))

    async def two(user):
        desk.set("upper/pan", 77.0)
        assert 77.0 in {element.value for element in user.find(ui.number).elements}
        for label, given, said in (("Swing", 0.0, "above 0"), ("Emitters of tomatoes", 7.5, "a whole number")):
            fields = user.find(ui.number).elements
            (field,) = (one for one in fields if one.props.get("aria-label") == f"{label}, as a number")
            field.set_value(given)
            await user.should_see(said)
        sound = desk.text()
        desk.replace_text(sound.replace('"0.9 kg"', '"0.9 kPa"'))
        await user.should_see("is a pressure")
        user.find(ui.textarea).clear().type(sound)
        user.find("Check").click()
        await user.should_see("The file is sound.")
        user.find("Save").click()
        await user.should_see("The season")

    _simulated(desk, two)
    assert desk.state == "ready"


def test_the_address_is_told_when_somebody_listens_there_and_not_before():
    async def run():
        with socket.create_server((HOST, 0)) as free:
            port = free.getsockname()[1]
        waiting = asyncio.create_task(listening(port))
        await asyncio.sleep(0.1)
        assert not waiting.done()
        async with await asyncio.start_server(lambda reader, writer: writer.close(), HOST, port):
            await asyncio.wait_for(waiting, 10)

    asyncio.run(run())


def test_the_latest_that_was_tried_is_listed(tmp_path):
    desk = Desk(write_garden(tmp_path, years_csv(2021, 2021), start="2021-07-01", end="2021-07-12"))
    desk.tried = [Tried({"upper/swing": 0.5 + number / 100.0}, 2021, None, f"try {number}") for number in range(1, 31)]

    async def looks(user):
        await user.should_see("Go back to this", retries=60)
        assert len(user.find("Go back to this").elements) == 12
        await user.should_not_see("try 18")
        await user.should_see("try 30")

    _simulated(desk, looks)


def test_a_variant_is_taken_from_the_list_and_compare_says_where_nothing_differs(tmp_path):
    file = write_garden(tmp_path, years_csv(2021, 2021), start="2021-07-01", end="2021-07-12")
    wide = '[variant.wide]\nsite.elevation = "9 m"\ncontroller.upper.pan.vessels = [{ diameter = "70 cm" }]\n'
    file.write_text(file.read_text(encoding="utf-8") + wide, encoding="utf-8")
    desk = Desk(file)

    async def takes(user):
        user.find("Compare").click()
        await user.should_see("Nothing differs from the file: move a slider first")
        (variants,) = (one for one in user.find(ui.select).elements if one.options == ["wide"])
        for _ in range(2):
            variants.set_value("wide")
            await user.should_see("Set as in wide, but for what can't be set here: site.elevation.")
            assert variants.value is None  # so that it can be taken again
            assert desk.values == {"upper/pan": 70.0}
            desk.set("upper/pan", 60.0)

    _simulated(desk, takes)


def test_a_key_in_a_finding_stands_as_code(tmp_path):
    """Lettuce that is over when the season has begun: to look at `planted` is what is advised."""
    file = write_garden(tmp_path, years_csv(2021, 2021))
    kept = [line for line in file.read_text(encoding="utf-8").splitlines() if not line.startswith("plants")]
    file.write_text("\n".join([*kept, 'plants = "lettuce"', "planted = 2021-05-01"]), encoding="utf-8")

    async def looks(user):
        await user.should_see("<code>planted</code>", retries=60)

    _simulated(Desk(file), looks)
