import base64
import gzip
import hashlib
import io
import json
import re
import shutil
import subprocess
import time
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.files.load import load_scenario
from armcarry.files.places import scenarios_folder
from armcarry.geometry import poses
from armcarry.geometry.shapes import Sphere
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Curve
from armcarry.views import gltf
from armcarry.views import page as package
from armcarry.views.bookmarks import FILE, Bookmark, read_bookmarks
from armcarry.views.curves import thinned, within
from armcarry.views.daylight import daylight
from armcarry.views.fault import displaced
from armcarry.views.folded import listed
from armcarry.views.gltf import glb
from armcarry.views.groups import rigid_groups
from armcarry.views.kept_out import DrawnRoom
from armcarry.views.measuring import measurable, measured
from armcarry.views.meshes import triangles
from armcarry.views.page import facts
from armcarry.views.page.facts import page_facts
from armcarry.views.page.write import in_script, write_page
from armcarry.views.player.session import Session
from armcarry.whatif.late_stop import stopped

HERE = Path(package.__file__).parent
_ARGUMENTS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-dev-shm-usage",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--window-size=1280,720",
    "--hide-scrollbars",
    "--host-resolver-rules=MAP * ~NOTFOUND",
)


@pytest.fixture(scope="module", autouse=True)
def room():
    """A room on the platform that asks for something at the beginning and at the end."""
    ball = triangles(Sphere(4.0), 16)
    room = DrawnRoom("plume", "plume: thruster", "platform/mount", "#D55E00", ball, ((0.0, 100.0), (400.0, 540.0)))
    with pytest.MonkeyPatch.context() as patch:
        for where in (facts, gltf):
            patch.setattr(where, "drawn_rooms", lambda record: (room,))
        yield room


@pytest.fixture(scope="module")
def page(small_run, room, tmp_path_factory):
    return write_page(*small_run, tmp_path_factory.mktemp("page") / "run.html")


@pytest.fixture(scope="module")
def browser(page):
    """The page open in a real Chromium that can reach no network."""
    webdriver = pytest.importorskip("selenium.webdriver")
    chromium, driver = shutil.which("chromium") or shutil.which("google-chrome"), shutil.which("chromedriver")
    if chromium is None or driver is None:
        pytest.skip("chromium and chromedriver are not installed")
    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for argument in _ARGUMENTS:
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    opened = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver))
    try:
        opened.get(page.as_uri())
        until(lambda: opened.execute_script("return document.body.dataset.ready") == "yes", 30)
        yield opened
    finally:
        opened.quit()


def until(true, seconds=10.0):
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.05)


def text(browser, name):
    return browser.execute_script(f"return document.getElementById('{name}').textContent")


def now(browser):
    return browser.execute_script("return armcarryPage.state.time")


def click(browser, name):
    browser.execute_script(f"document.getElementById('{name}').click()")


def picture(browser):
    """The 3-D view as drawn, (h, w, 3)."""
    from base64 import b64decode

    from PIL import Image

    browser.execute_async_script("const done = arguments[0]; requestAnimationFrame(() => requestAnimationFrame(done))")
    data = browser.execute_script("return document.getElementById('scene').toDataURL('image/png')")
    return np.asarray(Image.open(io.BytesIO(b64decode(data.split(",")[1]))).convert("RGB")).astype(int)


def test_it_is_one_small_file_that_asks_for_nothing(page):
    html = page.read_text(encoding="utf-8")
    assert len(html) < 8_000_000
    shell = re.sub(r"<script.*?</script>", "", html, flags=re.DOTALL)
    assert not re.search(r"(src|href)\s*=|url\(|@import", shell)
    assert "default-src &#39;none&#39;" in html


def test_the_scene_in_it_is_the_glb(small_run, page):
    held = re.search(r'<script id="run-scene" type="text/plain">(.*?)</script>', page.read_text(encoding="utf-8"))[1]
    assert gzip.decompress(base64.b64decode(held)) == glb(small_run[0], proven=True)


def test_text_of_the_run_cannot_act(small_run, page):
    html = page.read_text(encoding="utf-8")
    assert "<script>alert(1)" not in html and "<b>here" not in html
    assert "<title>Small carry &lt;script&gt;alert(1)&lt;/script&gt;</title>" in html
    held = re.search(r'<script id="run-data" type="application/json">(.*?)</script>', html, re.DOTALL).group(1)
    assert json.loads(held)["title"] == small_run[0].scene.loaded.scenario.title
    assert in_script({"a": "</script><!--"}) == r'{"a":"\u003c/script\u003e\u003c!--"}'


def test_the_facts_are_those_of_the_run(small_run):
    record, findings = small_run
    facts = page_facts(record, findings)
    assert facts["counts"] == "✕ 1 fail, 1 not assessed, 4 pass" and facts["verdict"] == "fail"
    assert facts["moves"][0] == {
        "start": 0.0,
        "end": 60.0,
        "carry": "fetch",
        "title": "fetch move 1 (to the rack)",
        "say": "Rider goes to the rack",
    }
    assert [f["message"] for f in facts["findings"]] == [findings[k].message for k in listed(findings)]
    assert [f["verdict"] for f in facts["findings"]] == ["fail", "not_assessed"] + ["pass"] * 4
    worst = facts["findings"][0]
    assert worst["verdict"] == Verdict.FAIL and worst["time"] == record.tightest.time_s
    assert worst["gap"]["value"] == pytest.approx(record.tightest.lower_m, abs=1e-4)
    shares = [
        float(words.split()[0]) / float(needed.split()[0])
        for words, needed in zip(facts["track"]["words"], facts["track"]["needed"], strict=True) if words
    ]
    row = record.tightest
    assert min(shares) * row.required_m == pytest.approx(row.lower_m, abs=0.02)
    assert any(facts["track"]["short"]) and not all(facts["track"]["short"])
    json.dumps(facts, allow_nan=False)


def test_a_finding_about_two_bodies_shows_their_own_gap(small_run):
    record, findings = small_run
    row = record.tightest
    other = Finding("budget", Verdict.FAIL, row.body_b, other=row.body_a, start_s=row.time_s, message="m")
    elsewhere = replace(other, start_s=row.time_s + 1.0)
    facts = page_facts(record, (*findings, other, replace(elsewhere, message="n")))
    told = {finding["message"]: finding for finding in facts["findings"]}
    assert told["m"]["gap"]["value"] == pytest.approx(row.lower_m, abs=1e-4)
    assert {told["m"]["gap"]["pair"]["a"], told["m"]["gap"]["pair"]["b"]} == {row.body_a, row.body_b}
    assert told["n"]["gap"] is None


def test_a_run_of_hours_may_pass_faster(small_run, monkeypatch):
    record, findings = small_run
    assert page_facts(record, findings)["speeds"][-1] == 60
    first = page_facts(record, findings)["doings"][0]
    assert first == {"start": 0.0, "end": 60.0, "words": "ev1, the arm: Rider goes to the rack"}
    monkeypatch.setattr("armcarry.views.page.facts._PASSES_S", 1.0)
    assert page_facts(record, findings)["speeds"][-1] == 300


def test_a_cell_without_bodies_is_not_told_as_contact(small_run):
    record, findings = small_run
    lower, upper = np.array([np.inf, -np.inf, 0.4, 3.0]), np.array([np.inf, 0.0, 0.41, np.inf])
    curve = Curve("arm to structure", 0.6, np.arange(5.0), lower, upper)
    (shown,) = page_facts(replace(record, curves=(curve,)), findings)["curves"]
    assert shown["lower"] == [None, -1.0, 0.4, 3.0]
    assert shown["upper"] == [None, 0.0, 0.41, None]
    assert shown["top"] == record.scene.loaded.rules.report_distance


def test_a_thinned_band_still_holds_the_least_distance():
    rng = np.random.default_rng(2)
    low = rng.uniform(0, 2, 5000)
    curve = Curve("a", 0.5, np.arange(5001.0), low, low + 0.1)
    short = thinned(curve, 300)
    assert len(short.lower_m) == 300 and short.times_s[0] == 0 and short.times_s[-1] == 5000
    for k in range(300):
        inside = slice(int(short.times_s[k]), int(short.times_s[k + 1]))
        assert short.lower_m[k] == low[inside].min() and short.upper_m[k] == low[inside].min() + 0.1
    part = within(curve, 10.5, 12.0)
    assert part.times_s.tolist() == [10, 11, 12] and part.lower_m.tolist() == low[10:12].tolist()
    assert within(curve, 6000.0, 7000.0) is None


def test_the_script_is_what_its_source_builds(tmp_path):
    if shutil.which("node") is None or not (HERE / "source" / "node_modules").is_dir():
        pytest.skip("the builder is not installed: npm ci --prefix sim/armcarry/views/page/source")
    subprocess.run(["node", "build.mjs", str(tmp_path / "player.js")], cwd=HERE / "source", check=True)
    built, kept = ((folder / "player.js").read_bytes() for folder in (tmp_path, HERE))
    assert hashlib.sha256(built).hexdigest() == hashlib.sha256(kept).hexdigest()


def test_the_licence_of_three_js_goes_with_it():
    assert "The MIT License" in (HERE / "THREE_LICENSE.txt").read_text(encoding="utf-8")
    assert "three.js" in (HERE / "player.js").read_text(encoding="utf-8")[:120]


def test_the_scene_is_drawn(browser):
    seen = picture(browser)
    ground = np.abs(seen - [0x11, 0x15, 0x1A]).sum(axis=2) < 12
    assert 0.02 < 1 - ground.mean() < 0.9
    orange = (seen[..., 0] > 1.3 * seen[..., 1]) & (seen[..., 1] > 2 * seen[..., 2])
    assert orange.sum() > 200  # the arm


def test_it_plays_and_pauses(browser):
    browser.execute_script("armcarryPage.seek(0)")
    click(browser, "play")
    until(lambda: now(browser) > 4)
    assert "Pause" in text(browser, "play")
    click(browser, "play")
    stopped = now(browser)
    time.sleep(0.3)
    assert now(browser) == stopped
    assert browser.execute_script("return armcarryPage.frames.count") > 3


def test_it_stops_at_the_end_and_starts_over(browser):
    browser.execute_script("armcarryPage.seek(539.9); armcarryPage.play(true)")
    until(lambda: not browser.execute_script("return armcarryPage.state.playing"))
    assert now(browser) == 540
    click(browser, "play")
    until(lambda: 0 < now(browser) < 200)
    browser.execute_script("armcarryPage.play(false)")


def test_scrubbing_moves_bodies_to_where_the_record_has_them(browser, small_run):
    record, _ = small_run
    axes = np.array([[0, 1, 0, 0], [0, 0, 1, 0], [1, 0, 0, 0], [0, 0, 0, 1.0]])
    names = ["arm/boom_2", "ev1/helmet", "pump_box/case", "platform/module"]
    for at in (0.0, 74.5, 76.0, 200.0, 431.0, 540.0):
        browser.execute_script(
            "const s = document.getElementById('scrub'); s.value = arguments[0]; s.dispatchEvent(new Event('input'))",
            at,
        )
        truth = dict(zip((body.name for body in record.bodies), record.body_poses(at)[0], strict=True))
        for name in names:
            seen = np.array(browser.execute_script("return armcarryPage.poseOf(arguments[0])", name)).reshape(4, 4).T
            corner = np.array([0.5, 0.5, 0.5])
            assert np.allclose(poses.apply(seen, corner), poses.apply(axes @ truth[name], corner), atol=4e-3), (
                name,
                at,
            )


def test_the_plot_is_a_way_to_move_in_time(browser):
    from selenium.webdriver import ActionChains

    browser.execute_script("armcarryPage.seek(0)")
    canvas = browser.find_element("id", "plot")
    ActionChains(browser).move_to_element(canvas).click().perform()
    assert now(browser) == pytest.approx(270, abs=25)
    before = browser.execute_script("return document.getElementById('plot').toDataURL()")
    browser.execute_script("armcarryPage.seek(400)")
    assert browser.execute_script("return document.getElementById('plot').toDataURL()") != before


def test_captions_are_those_of_the_script(browser):
    browser.execute_script("armcarryPage.seek(200)")
    assert text(browser, "say") == "Round the yard to bay 6"
    browser.execute_script("armcarryPage.seek(75)")
    assert "<now>" in text(browser, "say") or "Rider" in text(browser, "say") or text(browser, "move")


def test_findings_jump_and_show_value_and_requirement_from_the_table(browser, small_run):
    record, _ = small_run
    browser.execute_script("armcarryPage.seek(0)")
    first = browser.find_elements("css selector", "#findings button")[0]
    first.click()
    assert now(browser) == pytest.approx(record.tightest.time_s)
    assert (text(browser, "value"), text(browser, "needed")) == ("✕ 0.233 m", "0.300 m required")
    assert text(browser, "pair") == "pump box case – bay 7 longeron 1 1"
    assert first.get_attribute("aria-current") == "true" and first.text.startswith("✕ fail: clearance")
    seen = picture(browser)
    assert ((np.abs(seen - [0xD5, 0x5E, 0x00]).sum(axis=2)) < 40).sum() > 40  # the line between the two
    label = browser.find_element("id", "label")
    assert label.is_displayed() and label.text == "✕ 0.233 m (0.300 m required)"


def test_findings_of_one_check_fold_away_together_and_open_for_the_chosen(browser):
    groups = browser.find_elements("css selector", "#findings details")
    heads = [group.find_element("tag name", "summary").text for group in groups]
    assert heads == ["✕ clearance: 1", "? camera: 1", "✓ clearance: 3", "✓ joint margin: 1"]
    counts = [len(group.find_elements("tag name", "button")) for group in groups]
    assert [int(head.rsplit(": ", 1)[1]) for head in heads] == counts
    assert sum(counts) == len(browser.execute_script("return armcarryPage.data.findings"))
    assert all(group.get_attribute("open") for group in groups)  # few of each
    browser.execute_script("arguments[0].open = false", groups[-1])
    assert not groups[-1].find_element("tag name", "button").is_displayed()
    browser.execute_script("armcarryPage.jump(armcarryPage.data.findings.at(-1))")
    assert groups[-1].find_elements("tag name", "button")[-1].is_displayed()


def test_text_with_markup_is_shown_as_text(browser):
    shown = [item.text for item in browser.find_elements("css selector", "#findings button")]
    assert any("no camera was asked for <b>here</b>" in words for words in shown)
    assert text(browser, "title") == "Small carry <script>alert(1)</script>"


@pytest.mark.parametrize("camera", ["follow", "ev1", "mast", "free"])
def test_each_view_shows_something_of_its_own(browser, camera):
    browser.execute_script("armcarryPage.seek(450); armcarryPage.use('free')")
    start = picture(browser)
    browser.execute_script(
        "const s = document.getElementById('camera'); s.value = arguments[0]; s.dispatchEvent(new Event('change'))",
        camera,
    )
    seen = picture(browser)
    assert len(np.unique(seen.reshape(-1, 3), axis=0)) > 30
    assert (np.abs(seen - start).mean() > 1) == (camera != "free")


def test_keys_do_what_the_help_says(browser):
    from selenium.webdriver import ActionChains
    from selenium.webdriver.common.keys import Keys

    def press(*keys):
        ActionChains(browser).send_keys(*keys).perform()

    browser.execute_script("document.activeElement.blur(); armcarryPage.seek(100)")
    press(Keys.ARROW_RIGHT)
    assert now(browser) == 105
    press(Keys.ARROW_LEFT, Keys.ARROW_LEFT)
    assert now(browser) == 95
    press(Keys.END)
    assert now(browser) == 540
    press("t")
    assert text(browser, "value").startswith("✕ 0.233 m")
    press("n")
    assert browser.execute_script("return armcarryPage.state.finding.number") == 0
    press("+")
    assert browser.execute_script("return armcarryPage.state.speed") == 20
    press("?")
    assert browser.execute_script("return document.getElementById('keys').open")
    click(browser, "close")
    press(" ")
    assert browser.execute_script("return armcarryPage.state.playing")
    press(" ")


def test_a_link_leads_to_an_instant_and_a_view(browser):
    browser.execute_script("armcarryPage.use('ev1'); armcarryPage.seek(123.4)")
    assert browser.execute_script("return location.hash") == "#t=123.4&view=ev1"
    browser.execute_script("armcarryPage.use('free'); armcarryPage.seek(10); location.hash = '#t=200&view=mast'")
    until(lambda: now(browser) == 200)
    assert browser.execute_script("return document.getElementById('camera').value") == "mast"
    browser.execute_script("location.hash = '#t=moon&view=nobody'")
    time.sleep(0.2)
    assert now(browser) == 200
    browser.execute_script("armcarryPage.use('free')")


def test_the_proven_bodies_and_a_second_view_are_shown_on_demand(browser):
    browser.execute_script("armcarryPage.seek(450); armcarryPage.use('follow')")
    plain = picture(browser)
    browser.execute_script("document.activeElement.blur()")
    browser.execute_script("document.dispatchEvent(new KeyboardEvent('keydown', {key: 'k'}))")
    proven = picture(browser)
    assert 0.001 < (np.abs(proven - plain).max(axis=2) > 20).mean() < 0.2
    browser.execute_script("document.dispatchEvent(new KeyboardEvent('keydown', {key: 'k'}))")
    assert np.array_equal(picture(browser), plain)
    browser.execute_script(
        "const s = document.getElementById('corner'); s.value = 'mast'; s.dispatchEvent(new Event('change'))")
    corner = picture(browser)
    high, wide = corner.shape[:2]
    changed = np.abs(corner - plain).max(axis=2) > 8
    assert changed[int(0.8 * high) :, int(0.76 * wide) :].mean() > 0.05
    assert not changed[:, : int(0.7 * wide)].any()
    browser.execute_script(
        "const s = document.getElementById('corner'); s.value = '*'; s.dispatchEvent(new Event('change'))")
    changed = np.abs(picture(browser) - plain).max(axis=2) > 8
    rows = np.flatnonzero(changed[:, int(0.76 * wide) :].mean(axis=1) > 0.02)
    assert not changed[:, : int(0.7 * wide)].any()
    assert rows.min() < 0.6 * high  # the second stands above the first
    browser.execute_script(
        "const s = document.getElementById('corner'); s.value = ''; s.dispatchEvent(new Event('change'));"
        "armcarryPage.use('free')")


def test_the_sun_of_the_page_is_that_of_the_day(small_run):
    assert page_facts(*small_run)["sun"] is None  # no environment, no sun
    environment = load_scenario(scenarios_folder() / "pump_box_to_bay_7.yaml").scenario.environment
    loaded = SimpleNamespace(**vars(small_run[0].scene.loaded))
    loaded.scenario = loaded.scenario.model_copy(update={"environment": environment})
    record = replace(small_run[0], scene=replace(small_run[0].scene, loaded=loaded))
    told = page_facts(record, ())["sun"]
    for k in (0, len(told["times"]) - 1):
        light = daylight(record, told["times"][k])
        assert np.allclose(told["way"][3 * k : 3 * k + 3], light.sun, atol=1e-4)
        assert told["share"][k] == pytest.approx(light.share, abs=1e-3)


def test_nothing_is_cut_at_projector_size(browser):
    for name in ("title", "say", "clock", "value", "caution", "play"):
        fits = browser.execute_script(
            "const e = document.getElementById(arguments[0]); const b = e.getBoundingClientRect();"
            "return b.left >= 0 && b.right <= innerWidth + 1 && b.top >= 0 && b.bottom <= innerHeight + 1"
            " && e.scrollWidth <= e.clientWidth + 1",
            name,
        )
        assert fits or name in ("clock", "value"), name
    assert browser.execute_script("return document.documentElement.scrollHeight <= innerHeight + 1")


def test_the_label_of_the_gap_keeps_off_the_choice_of_views(browser):
    rectangle = "(name) => { const b = document.getElementById(name).getBoundingClientRect();"
    rectangle += " return [b.left, b.top, b.right, b.bottom]; }"
    shown = 0
    for camera in ("free", "follow", "ev1", "mast"):
        for at in range(0, 540, 60):
            browser.execute_script("armcarryPage.use(arguments[0]); armcarryPage.seek(arguments[1])", camera, at)
            picture(browser)
            one, two = browser.execute_script(f"const of = {rectangle}; return [of('label'), of('views')]")
            if one[2] > one[0]:
                shown += 1
                assert one[0] >= two[2] - 1 or one[1] >= two[3] - 1, (camera, at)
    assert shown > 3


def test_the_view_the_slider_and_the_plot_answer_to_keys_while_they_have_the_focus(browser):
    from selenium.webdriver import ActionChains
    from selenium.webdriver.common.keys import Keys

    def press(name, key):
        browser.execute_script(f"document.getElementById('{name}').focus()")
        ActionChains(browser).send_keys(key).perform()

    browser.execute_script("armcarryPage.jump(armcarryPage.data.findings[1]); armcarryPage.use('free')")
    browser.execute_script("armcarryPage.seek(200)")
    for key in (Keys.ARROW_LEFT, Keys.ARROW_UP, Keys.PAGE_DOWN):
        before = picture(browser)
        press("scene", key)
        assert now(browser) == 200 and np.abs(picture(browser) - before).mean() > 0.3, key
    steps = ((Keys.ARROW_RIGHT, 205), (Keys.ARROW_LEFT, 195), (Keys.PAGE_UP, 260), (Keys.PAGE_DOWN, 140))
    for name in ("scrub", "plot"):
        for key, expected in steps:
            browser.execute_script("armcarryPage.seek(200)")
            press(name, key)
            assert now(browser) == expected, (name, key)
    assert browser.find_element("id", "scrub").get_attribute("aria-valuetext") == "0:02:20.0"
    browser.execute_script("document.activeElement.blur()")


@pytest.fixture
def telephone(browser):
    """Turns the browser into a telephone of a size, and back."""

    def turn(wide, tall):
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride",
                                {"width": wide, "height": tall, "deviceScaleFactor": 1, "mobile": True})
        browser.execute_script("window.scrollTo(0, 0)")
        picture(browser)

    yield turn
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    picture(browser)


@pytest.mark.parametrize("size", [(390, 844), (844, 390)])
def test_a_telephone_shows_the_title_and_reaches_every_finding(browser, telephone, size):
    telephone(*size)
    fits = "const e = document.getElementById(arguments[0]); return e.scrollWidth <= e.clientWidth + 1"
    assert browser.execute_script(fits, "title")
    assert browser.execute_script("return document.documentElement.scrollWidth <= innerWidth")
    heights = browser.execute_script("return [...document.querySelectorAll('button, select')].map(e => e.offsetHeight)")
    assert min(height for height in heights if height) >= 44
    for item in browser.find_elements("css selector", "#findings button"):
        browser.execute_script("armcarryPage.seek(0); arguments[0].parentElement.open = true", item)
        browser.execute_script("arguments[0].scrollIntoView({ block: 'nearest' })", item)
        on_top = browser.execute_script(
            "const b = arguments[0].getBoundingClientRect(); const y = b.bottom - 12;"
            "return arguments[0].contains(document.elementFromPoint(b.left + b.width / 2, y))", item)
        assert on_top, item.text
        item.click()
        assert item.get_attribute("aria-current") == "true"
        stage = browser.execute_script(
            "const b = document.getElementById('scene').getBoundingClientRect(); return [b.top, b.bottom, innerHeight]")
        assert stage[0] > -60 and stage[1] < stage[2]  # what was chosen is seen at once


@pytest.mark.parametrize("size", [None, (390, 844), (844, 390)])
def test_what_may_be_shown_is_chosen_within_the_view(browser, telephone, size):
    if size:
        telephone(*size)
    browser.execute_script("document.getElementById('show').open = true")
    inner, outer = browser.execute_script(
        "return ['#show div', '#stage'].map(name => {const b = document.querySelector(name).getBoundingClientRect();"
        "return [b.left, b.top, b.right, b.bottom]})")
    browser.execute_script("document.getElementById('show').open = false")
    assert inner[0] >= outer[0] and inner[2] <= outer[2] and inner[3] <= outer[3] and inner[3] - inner[1] > 60


def test_paper_shows_every_finding_dark_on_white(browser, small_run):
    from pypdf import PdfReader

    _, findings = small_run
    browser.execute_script("for (const group of document.querySelectorAll('#findings details')) group.open = false")
    sheet = browser.execute_cdp_cmd("Page.printToPDF", {"printBackground": False})["data"]
    pages = PdfReader(io.BytesIO(base64.b64decode(sheet))).pages
    words = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert all(finding.message in words for finding in findings)
    assert "A rehearsal aid" in words and "Play" not in words
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        for name in ("body", "h1", "#findings .message", "#findings .remedy", "#findings .when", "#findings summary"):
            tones = browser.execute_script(
                "const s = getComputedStyle(document.querySelector(arguments[0]));"
                "return s.color.match(/[0-9]+/g).slice(0, 3).map(Number)", name)
            assert max(tones) <= 0x33, name
        ground = browser.execute_script("return getComputedStyle(document.body).backgroundColor")
        assert ground == "rgb(255, 255, 255)"
    finally:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})


def test_a_failing_finding_keeps_its_cross_where_its_gap_has_room(browser):
    row = browser.execute_script(
        "const good = armcarryPage.data.findings.find((f) => f.verdict === 'pass' && f.gap);"
        "armcarryPage.jump({ ...good, verdict: 'fail', check: 'budget', value: '✕ -0.010 m', needed: 'budget',"
        " label: '✕ -0.010 m (budget)', number: undefined }); return good.gap.value")
    assert row > 0
    assert (text(browser, "value"), text(browser, "head")) == ("✕ -0.010 m", "Chosen: budget")
    assert browser.execute_script("return [label.className, value.className]") == ["bad", "bad"]
    chosen = browser.execute_script("return [armcarryPage.state.finding.curve, Number(group.value)]")
    assert chosen[0] is not None and chosen[0] == chosen[1]


def test_no_error_and_no_request_but_the_file_itself(browser, page):
    assert [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"] == []
    asked = set()
    for entry in browser.get_log("performance"):
        message = json.loads(entry["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            asked.add(message["params"]["request"]["url"].split("#")[0])
    assert {url for url in asked if not url.startswith(("data:", "blob:"))} == {page.as_uri()}


def shown_box(browser, name):
    return browser.execute_script(
        "const b = document.getElementById(arguments[0]).getBoundingClientRect();"
        " return [b.left, b.top, b.right, b.bottom]", name)


def set_to(browser, name, value):
    browser.execute_script(
        "const s = document.getElementById(arguments[0]); if (s.type === 'checkbox') s.checked = arguments[1];"
        "else s.value = arguments[1]; s.dispatchEvent(new Event('change'))", name, value)


def test_the_label_of_a_finding_does_not_cover_its_gap(browser):
    browser.execute_script("armcarryPage.jump(armcarryPage.data.tightest)")
    seen, box = picture(browser), shown_box(browser, "label")
    over = shown_box(browser, "scene")
    line = np.argwhere(np.abs(seen - [0xD5, 0x5E, 0x00]).sum(axis=2) < 40) + np.array([over[1], over[0]])
    covered = (line > [box[1], box[0]]).all(axis=1) & (line < [box[3], box[2]]).all(axis=1)
    assert len(line) > 40 and not covered.any()


def test_the_buttons_go_from_step_to_step(browser, small_run):
    starts = sorted({round(move.start_s, 1) for move in small_run[0].moves})
    browser.execute_script("armcarryPage.seek(0)")
    gone = []
    for _ in starts[1:]:
        click(browser, "forward")
        gone.append(now(browser))
    assert [at for at in gone if at in starts] == [at for at in starts[1:] if at in gone] and gone[0] > 0
    assert set(starts[1:]) <= {*gone, 540.0} or len(set(gone)) == len(gone)
    click(browser, "back")
    assert now(browser) == gone[-2]


def test_findings_are_filtered_by_person_and_by_check(browser):
    def left():
        return [item for item in browser.find_elements("css selector", "#findings button") if item.is_displayed()]

    browser.execute_script("for (const group of document.querySelectorAll('#findings details')) group.open = true")
    everything = len(left())
    set_to(browser, "check", "camera")
    assert [item.get_attribute("data-check") for item in left()] == ["camera"]
    set_to(browser, "check", "joint margin")
    set_to(browser, "who", "ev1")
    assert not left() and browser.find_element("id", "none").is_displayed()
    set_to(browser, "check", "")
    some = left()
    assert 0 < len(some) < everything and all("ev1" in item.get_attribute("data-people") for item in some)
    heads = [item.text for item in browser.find_elements("css selector", "#findings summary") if item.is_displayed()]
    assert sum(int(head.rsplit(": ", 1)[1]) for head in heads) == len(some)
    set_to(browser, "who", "")
    assert len(left()) == everything


def test_bookmarks_are_kept_gone_to_and_handed_out_as_the_file_beside_the_run(browser, tmp_path):
    press = "document.dispatchEvent(new KeyboardEvent('keydown', {key: arguments[0]}))"
    browser.execute_script("armcarryPage.use('free'); armcarryPage.seek(100)")
    browser.execute_script(press, "b")
    assert browser.execute_script("return document.activeElement.id") == "note"
    browser.execute_script("note.value = 'mind <b>this</b>'; entry.requestSubmit(); armcarryPage.seek(300)")
    browser.execute_script("armcarryPage.use('ev1'); entry.requestSubmit(); armcarryPage.use('free')")
    browser.execute_script("armcarryPage.seek(0)")
    assert browser.execute_script("return kept.innerText").startswith("0:01:40.0 mind <b>this</b>")
    browser.execute_script(press, ".")
    assert now(browser) == 100.0
    browser.execute_script(press, ",")
    assert now(browser) == 300.0 and browser.execute_script("return camera.value") == "ev1"
    (tmp_path / FILE).write_text(browser.execute_script("return armcarryPage.marks.text()"))
    first, second = read_bookmarks(tmp_path)
    assert (first.view, first.note, second) == ("free", "mind <b>this</b>", Bookmark(300.0, "ev1"))
    assert first.eye_m is not None and first.focus_m is not None
    browser.execute_script("document.querySelectorAll('#kept li button + button').forEach((drop) => drop.click())")
    assert browser.execute_script("return [armcarryPage.marks.marks.length, kept.children.length]") == [0, 0]
    assert browser.execute_script("return document.getElementById('save').disabled")


def test_the_page_measures_between_any_two_as_the_player_does(browser, small_run):
    record, _ = small_run
    names = measurable(record)
    rng = np.random.default_rng(3)
    kinds = {type(body.shape).__name__: body.name for body in record.bodies}
    pairs = [("ev1", "platform"), ("arm", "ev1"), *((a, b) for a in kinds.values() for b in kinds.values() if a != b)]
    pairs += [tuple(rng.choice(names, 2, replace=False)) for _ in range(60)]
    seen = 0
    for k, (one, other) in enumerate(pairs):
        time_s = (0.0, 130.0, 300.0, 500.0)[k % 4]
        found = measured(record, one, other, time_s)
        browser.execute_script("armcarryPage.seek(arguments[0])", time_s)
        told = browser.execute_script("return armcarryPage.measure(...arguments)", one, other)
        if found is None:
            continue
        assert told["distance"] == pytest.approx(max(found.lower_m, 0.0), abs=5e-3), (one, other, time_s)
        ends = [np.array([point[axis] for axis in "xyz"]) for point in (told["a"], told["b"])]
        if told["distance"] > 0:
            assert np.linalg.norm(ends[0] - ends[1]) == pytest.approx(told["distance"], abs=1e-6)
            seen += 1
    assert seen > 40


def test_what_is_measured_is_told_with_both_its_bodies(browser):
    name = "document.getElementById(arguments[0])"
    for part, words in (("from", "ev1"), ("to", "platform")):
        browser.execute_script(f"{name}.value = arguments[1]; {name}.dispatchEvent(new Event('input'))", part, words)
    assert re.fullmatch(r"\d\.\d{3} m now, to 5 mm: ev1 .+ – .+|contact: .+", text(browser, "measured"))
    browser.execute_script(f"{name}.value = ''; {name}.dispatchEvent(new Event('input'))", "to")
    assert browser.execute_script("return document.getElementById('measured').hidden")


def test_bookmarks_of_the_run_come_with_the_page(small_run):
    mark = Bookmark(12.0, "free", "here", (1.0, 2.0, 3.0), (0.0, 0.0, 0.0))
    assert page_facts(*small_run, [mark])["bookmarks"]["marks"] == [mark.as_dict()]


def test_what_stands_still_passes_quickly_on_the_page_as_in_the_player(browser, small_run):
    session = Session(*small_run)
    start, end = max(session.idle, key=lambda stretch: stretch[1] - stretch[0])
    try:
        for skips in (False, True):
            browser.execute_script("skip.checked = arguments[0]; armcarryPage.state.speed = 5", skips)
            session.skips = skips
            session.set_speed(5)
            for time_s in (start - 20.0, start + 1.0, (start + end) / 2, end - 1.0, end + 1.0):
                for passed in (0.1, 1.0, 3.0):
                    browser.execute_script("armcarryPage.seek(arguments[0])", time_s)
                    session.seek(time_s)
                    there = browser.execute_script("return armcarryPage.later(arguments[0])", passed)
                    assert there == pytest.approx(session._later(passed), abs=0.3)
    finally:
        browser.execute_script("skip.checked = false; armcarryPage.state.speed = 10")


def test_path_map_cones_and_cut_are_shown_on_demand(browser):
    browser.execute_script("armcarryPage.seek(450); armcarryPage.play(false); document.activeElement.blur()")
    browser.execute_script("document.dispatchEvent(new KeyboardEvent('keydown', {key: 'o'}))")
    set_to(browser, "path", False)
    plain = picture(browser)
    for name, on, off in (("path", True, False), ("cones", True, False), ("rooms", True, False), ("cut", "1", "")):
        set_to(browser, name, on)
        assert 1e-4 < (np.abs(picture(browser) - plain).max(axis=2) > 20).mean() < 0.6, name
        set_to(browser, name, off)
        assert np.array_equal(picture(browser), plain), name
    set_to(browser, "path", True)
    set_to(browser, "map", True)
    ink = "return [...document.getElementById('plan').getContext('2d').getImageData(0, 0, 400, 200).data]"
    there = browser.execute_script(ink)
    browser.execute_script("armcarryPage.seek(100)")
    assert browser.execute_script(ink) != there  # the people on it went along
    set_to(browser, "map", False)
    assert not browser.find_element("id", "plan").is_displayed()


def test_a_room_is_drawn_while_it_asks_for_anything(browser):
    set_to(browser, "path", False)
    seen = []
    for time_s in (50.0, 200.0):
        browser.execute_script("armcarryPage.seek(arguments[0])", time_s)
        without = picture(browser)
        set_to(browser, "rooms", True)
        seen.append((np.abs(picture(browser) - without).max(axis=2) > 20).mean())
        set_to(browser, "rooms", False)
    set_to(browser, "path", True)
    assert seen[0] > 1e-3 and seen[1] == 0.0


def test_what_stands_before_a_gap_is_told_and_drawn_see_through(browser, small_run):
    facts = page_facts(*small_run)
    shown = [finding for finding in facts["findings"] if finding["gap"]]
    for finding in shown:
        own = {finding["gap"]["pair"]["a"], finding["gap"]["pair"]["b"]}
        assert not own & set(finding["before"])
    jump = "armcarryPage.jump({...armcarryPage.data.tightest, before: arguments[0]})"
    pictures = []
    for before in ([], ["platform/bay_6_panel", "platform/bay_7_longeron_m1_1", "arm/boom_2", "ev1/torso"], []):
        browser.execute_script(jump, before)
        pictures.append(picture(browser))
    assert (np.abs(pictures[1] - pictures[0]).max(axis=2) > 20).mean() > 1e-4
    assert np.array_equal(pictures[2], pictures[0])


def test_no_white_burns_out_on_the_page(browser):
    browser.execute_script("armcarryPage.seek(0); armcarryPage.use('free')")
    assert (picture(browser).min(axis=2) > 250).mean() < 1e-3


def test_the_page_tells_where_a_stop_would_end_as_the_run_does(browser, small_run):
    record, _ = small_run
    move = next(m for m in record.moves if m.kind not in ("hold", "attach", "detach") and m.end_s > m.start_s)
    time_s = round((move.start_s + move.end_s) / 2, 2)
    rest = stopped(record, time_s)[record.scene.arm_columns]
    wanted = {f"group {group.name}": pose for group, pose in displaced(record, time_s, rest, rigid_groups(record))}
    browser.execute_script("armcarryPage.use('free');"
                           "document.body.dispatchEvent(new KeyboardEvent('keydown', {key: 'o', bubbles: true}))")
    found = browser.execute_script(f"return armcarryPage.rest({time_s})")
    assert len(found) >= 2
    for item in found:
        pose = wanted[item["node"]]
        assert np.allclose(item["place"], pose[:3, 3], atol=5e-3), item["node"]
        w, x, y, z = poses.quaternion_wxyz(pose)
        assert abs(np.dot(item["turn"], [x, y, z, w])) > 1 - 1e-5
    before = picture(browser)
    browser.execute_script("document.getElementById('stop').click()")
    assert np.abs(picture(browser) - before).max() > 40  # the ghost is drawn
    browser.execute_script("document.getElementById('stop').click()")
    still = record.moves[0].end_s - 0.5 if record.moves[0].kind == "hold" else None
    if still is not None:
        assert browser.execute_script(f"return armcarryPage.rest({still})") == []


def test_of_a_day_the_path_of_one_carry_is_shown_at_a_time(browser):
    ends = browser.execute_script("return armcarryPage.pathEnds()")
    assert ends == sorted(ends) and len(ends) >= 1
    for time_s in (0.0, *(end - 0.1 for end in ends), ends[-1] + 1e6):
        browser.execute_script(f"armcarryPage.seek({time_s})")
        shown = browser.execute_script("return armcarryPage.pathShown()")
        at = now(browser)
        assert shown == [next((end for end in ends if at < end), ends[-1])]
