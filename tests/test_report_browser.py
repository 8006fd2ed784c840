"""The report and the pages beside it in a real browser: on a phone, on paper, and by axe-core's rules."""

import io
import re
import shutil
from pathlib import Path

import pypdfium2
import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from sample_runs import SAMPLES, measured, measured_in
from trace_page import needs_chromium

from digitize import cli
from digitize.report.layout import LETTER_PX

pytestmark = [needs_chromium, pytest.mark.slow]
PHONE, DESK = {"width": 390, "height": 844}, {"width": 1400, "height": 900}
SMALLEST_PX = 11  # of the picture's words; text of 9 points on paper is 12 such pixels (CSS: 96 to the inch)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The sample in inches, marginal, with its cards: a failed swing, nose weight."""
    made = tmp_path_factory.mktemp("browser") / "yarrow"
    shutil.copytree(measured("yarrow-inch-ruler")[0], made)
    assert cli.main(["swing", str(made), "--outcome", "unclear", "--note", "gusty"]) == 0
    assert cli.main(["ballast", str(made)]) == 0
    return made


@pytest.fixture(scope="module")
def full(tmp_path_factory):
    """A report with a part of everything: motors, a hand measurement that disagrees, a Mach number, warnings."""
    made = tmp_path_factory.mktemp("full") / "bramble"
    motors = ["--motor", "large,24g,12g,70mm", "--motor", "small,16g,9g,44mm"]
    options = ["--scale", "ruler=300mm", "--scale", "tube=33.2mm", "--fins", "4", "--balance", "415mm"]
    more = ["--mass", "180g", "--hand", "span=38mm", "--hand", "length=540mm", "--mach", "0.5", "--pdf"]
    measured_in(made, SAMPLES / "bramble-white-ruler.jpg", [*options, *motors, *more])
    return made


@pytest.fixture(scope="module")
def index(tmp_path_factory):
    """A club's page: one rocket measured, one refused."""
    made = tmp_path_factory.mktemp("club")
    Image.new("RGB", (800, 600), (120, 130, 140)).save(made / "bare.png")
    rocket = '[[rocket]]\nname = "{}"\nfins = "3"\nscale = "tube=41.6mm"\n[[rocket.photo]]\nfile = "{}"\n'
    photos = {"thistle": SAMPLES / "thistle-steel-ruler.jpg", "lost": made / "bare.png"}
    (made / "list.toml").write_text("".join(rocket.format(*each) for each in photos.items()))
    assert cli.main(["measure", "--shots", str(made / "list.toml"), "--out", str(made / "r"), "--jobs", "1"]) == 5
    return made / "r" / "index.html"


def shown(browser, path: Path, size: dict, unfolded: bool = True):
    page = browser.new_page(viewport=size)
    page.goto(path.as_uri())
    if unfolded:
        page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true; })")
    return page


def sideways(page) -> list[str]:
    """What sticks out of the window, or makes it scroll."""
    return page.evaluate("""() => [...document.body.querySelectorAll('*')]
        .filter(e => e.getBoundingClientRect().right > innerWidth + 0.5 || (e.scrollWidth > e.clientWidth + 1
          && ['auto', 'scroll'].includes(getComputedStyle(e).overflowX)))
        .map(e => `${e.tagName} ${e.textContent.slice(0, 40)}`)
        .concat(document.documentElement.scrollWidth > innerWidth ? ['the page'] : [])""")


PAGES = ("report.html", "swing-card.html", "ballast.html")


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("name", [*PAGES, "full", "index"])
def test_nothing_is_off_screen_and_axe_finds_nothing(browser, request, folder, name, size):
    """No violation of any weight of axe-core's default rules (Deque Systems, WCAG 2 and best practices)."""
    path = folder / name
    if name not in PAGES:
        made = request.getfixturevalue(name)
        path = made if name == "index" else made / "report.html"
    page = shown(browser, path, size)
    found = Axe().run(page)
    off = sideways(page)
    page.close()
    assert found.response["passes"] and len(found.response["passes"]) > 10
    assert [(each["id"], [node["html"][:90] for node in each["nodes"]]) for each in found.response["violations"]] == []
    assert off == []


def test_the_answer_comes_first_then_what_to_do_then_the_picture_then_the_fold(browser, folder):
    page = shown(browser, folder / "report.html", PHONE, unfolded=False)
    top = "e => e.getBoundingClientRect().top"
    places = [page.eval_on_selector(of, top) for of in (".level", ".to-do", ".command", "figure img", "details.more")]
    assert places == sorted(places) and places[1] < PHONE["height"] / 2 and places[3] < PHONE["height"]
    assert not page.evaluate("document.querySelector('details.more').open")
    assert " oz of modelling clay in the nose tip would do it" in page.inner_text(".to-do")
    assert page.inner_text(".command").endswith("yarrow") and not page.is_visible("text=What was assumed")
    page.click("summary")
    assert page.is_visible("text=What was assumed")
    page.close()


def test_the_picture_s_words_can_be_read_on_a_phone(browser, folder):
    """The tall picture is taken there and the whole one on a desk; the height of its words follows from its size."""
    for size, tall in ((PHONE, True), (DESK, False)):
        page = shown(browser, folder / "report.html", size)
        image = page.eval_on_selector(
            "figure img", "e => [e.currentSrc.slice(0, 15), e.clientWidth, e.naturalWidth, e.naturalHeight]"
        )
        page.close()
        assert (image[0] == "data:image/jpeg") == tall
        # the smallest words are 0.85 of 0.85 letters high
        assert LETTER_PX * 0.85 * image[1] / image[2] > (SMALLEST_PX if tall else SMALLEST_PX * 0.9)
        assert (image[3] > 1.2 * image[2]) == tall


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_prints_on_four_pages_at_most_with_all_that_is_folded(browser, folder, full, paper):
    for made in (folder, full):
        page = shown(browser, made / "report.html", DESK, unfolded=False)
        printed = pypdfium2.PdfDocument(page.pdf(format=paper))
        page.close()
        assert 2 <= len(printed) <= 4
        words = re.sub(r"\s+", " ", " ".join(sheet.get_textpage().get_text_range() for sheet in printed))
        for said in ("What was assumed", "Other ways of working it out", "What makes it unsure", "Cautions"):
            assert said in words
        assert "range safety officer" in printed[0].get_textpage().get_text_range()
    assert len(pypdfium2.PdfDocument(io.BytesIO((full / "report.pdf").read_bytes()))) <= 4


@pytest.mark.parametrize("name", ["swing-card.html", "ballast.html"])
def test_the_cards_print_on_one_page(browser, folder, name):
    page = shown(browser, folder / name, DESK)
    printed = [len(pypdfium2.PdfDocument(page.pdf(format=paper))) for paper in ("A4", "Letter")]
    page.close()
    assert printed == [1, 1]
