"""A work order on a phone, without script: started, ticked, folded and kept; axe finds nothing, and it prints."""

from tests.bench.working import CHASSIS
from tests.browser.conftest import Open
from tests.browser.test_bench_in_a_browser import Bench, bench, looked_at, signed_in
from tests.browser.test_pages_in_a_browser import AXE

__all__ = ["AXE", "bench"]


def test_a_work_order_is_started_ticked_and_kept_on_a_phone(opened: Open, bench: Bench) -> None:
    watched = signed_in(opened, bench, "/v1/work-orders", width=390, bypass_csp=True)
    page = watched.page
    looked_at(page, 390)
    site, fork = page.url.removesuffix("/v1/work-orders"), bench.fork.removeprefix("/v1/forks/")
    card = f"/v1/chassis/{CHASSIS}/job-card?fork={fork}&job=lower-leg-service&wheel_size=622&damper=lommeris-lull"
    page.goto(site + card)
    page.get_by_role("link", name="Start a work order").click()
    looked_at(page, 390)
    page.get_by_label("Bike").fill("red one")
    page.get_by_role("button", name="Start the work order").click()
    looked_at(page, 390)
    assert "red one" in page.locator("main").inner_text()
    assert page.locator("#phase-a[open]").count() == 1
    assert page.locator("#phase-b[open]").count() == 0
    boxes = page.locator("#phase-a input[type=checkbox]")
    for number in range(boxes.count()):
        boxes.nth(number).check()
    page.get_by_role("button", name="Save make safe").click()
    looked_at(page, 390)
    page.reload()
    assert page.locator("#phase-a[open]").count() == 0, "a finished phase is folded"
    assert page.locator("#phase-b[open]").count() == 1
    assert f"{boxes.count()} of" in page.locator(".so-far").inner_text()
    assert page.locator(".so-far").bounding_box()["y"] < 844  # type: ignore[index]
    page.get_by_role("link", name="Record job").click()
    looked_at(page, 390)
    page.get_by_role("button", name="Record the job").click()
    assert "Recorded" in page.locator("main").inner_text()
    looked_at(page, 390)
