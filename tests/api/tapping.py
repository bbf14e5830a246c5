"""A person at a browser without script: reads pages, taps links, opens folds, fills in fields by their labels, sends.

Every tap, fold, filled-in field and tick counts as one action.
"""

from dataclasses import dataclass, field
from html.parser import HTMLParser
from urllib.parse import urlencode, urljoin

import httpx

from tests.api.reading_html import VOID, Page
from tests.bench.browsing import OURS


@dataclass
class Control:
    """A field of the form: its value, and the fold that it is in, if that is closed."""

    name: str
    kind: str
    value: str
    fold: str | None
    options: dict[str, str] = field(default_factory=dict)
    label: str = ""
    id: str = ""


class Form(HTMLParser):
    """The form of a page that posts to it, and the page's links by their words."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.controls: list[Control] = []
        self.links: list[tuple[str, str]] = []
        self.labels: dict[str, str] = {}
        self.action: str | None = None
        self._in_form = False
        self._leads: str | None = None
        self.next = ""
        self._folds: list[str | None] = []
        self._text: list[str] | None = None
        self._link: str | None = None
        self._for: str | None = None
        self._option: str | None = None
        self._in_summary = False
        self._depth: list[str] = []
        self.feed(html)
        self.links = [
            (words, f"{self._leads}?{to}&{urlencode({'next': self.next})}" if "=" in to and "/" not in to else to)
            for words, to in self.links
        ]
        for each in self.controls:
            each.label = each.label or self.labels.get(each.id, "")

    @property
    def _fold(self) -> str | None:
        return next((fold for fold in self._folds if fold is not None), None)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag not in VOID:
            self._depth.append(tag)
        if tag == "form" and given.get("method") == "post" and "filled" in given.get("class", ""):
            self.action, self._in_form = given["action"], True
        elif tag == "form" and given.get("id") == "correct":
            self._leads = given["action"]
        elif tag == "input" and self._leads is not None and not self._in_form:
            self.next = given["value"]
        elif tag == "button" and given.get("form") == "correct":
            self._text, self._link = [], f"{given['name']}={given['value']}"
        elif tag == "details":
            self._folds.append(None if "open" in given else "?")
        elif tag in ("summary", "label", "a"):
            self._text, self._for, self._link = [], given.get("for"), given.get("href")
        elif tag == "b" and given.get("id", "").startswith("f-"):
            self._text, self._for = [], given["id"]
        elif tag in ("input", "select", "textarea") and self._in_form:
            kind = given.get("type", "text") if tag == "input" else tag
            value = given.get("value", "") if kind != "checkbox" else "yes" if "checked" in given else ""
            self.controls.append(Control(given["name"], kind, value, self._fold, id=given.get("id", "")))
            if tag == "textarea":
                self._text = []
        elif tag == "option" and self._in_form:
            self._text, self._option = [], given.get("value")
            if "selected" in given:
                self.controls[-1].value = given.get("value", "")

    def handle_data(self, data: str) -> None:
        if self._text is not None:
            self._text.append(data)

    def handle_endtag(self, tag: str) -> None:
        words = " ".join("".join(self._text or ()).split())
        if tag == "form":
            self._in_form = False
        elif tag == "details":
            self._folds.pop()
        elif tag == "summary":
            self._folds[-1] = words if self._folds[-1] is not None else None
        elif tag in ("a", "button") and self._link is not None:
            self.links.append((words, self._link))
            self._link = None
        elif tag == "label" or (tag == "b" and self._for is not None):
            if self._for is None and self.controls and tag == "label":
                self.controls[-1].label = words
            elif self._for is not None:
                self.labels[self._for] = words
        elif tag == "option" and self._in_form:
            self.controls[-1].options[words] = words if self._option is None else self._option
        elif tag == "textarea" and self._in_form:
            self.controls[-1].value = words
        if tag in ("label", "a", "button", "option", "summary", "textarea") or (tag == "b" and self._link is None):
            self._text = self._for = None


class Person:
    """Somebody with a browser of their own."""

    def __init__(self, client: httpx.AsyncClient) -> None:
        self.client = client
        self.actions = 0
        self.at, self.html, self.status = "", "", 0
        self._filled: dict[str, str] = {}
        self._opened: set[str] = set()

    @property
    def text(self) -> str:
        """The visible text of the page."""
        return Page(self.html).text

    @property
    def form(self) -> Form:
        """The form and the links of the page."""
        return Form(self.html)

    async def open(self, path: str) -> None:
        """Open an address, as a bookmark does."""
        self._show(await self.client.get(path, headers=OURS), path)
        while self.status in (302, 303, 307):
            path = urljoin(self.at, self._to)
            self._show(await self.client.get(path.partition("#")[0], headers=OURS), path)

    def _show(self, answer: httpx.Response, path: str) -> None:
        self.at, self.html, self.status = path, answer.text, answer.status_code
        self._to = answer.headers.get("location", "")
        self._filled, self._opened = {}, set()
        if "html" in answer.headers.get("content-type", ""):
            Page(self.html)  # every page is well formed

    async def tap(self, words: str, beside: str = "") -> None:
        """Tap the link with these words; `beside` is in its address if there are several."""
        found = [href for said, href in self.form.links if words in said and beside in href]
        assert found, f"no link {words!r} with {beside!r} at {self.at}: {self.form.links}"
        self.actions += 1
        await self.open(urljoin(self.at, found[0]))

    def fill(self, label: str, value: str, fold: str | None = None) -> None:
        """Fill in, pick or tick the field with this label, after opening its fold if it is closed."""
        found = [each for each in self.form.controls if each.label.startswith(label)]
        found = [each for each in found if fold is None or (each.fold or "") == fold]
        assert found, f"no field {label!r} at {self.at}: {[(each.label, each.fold) for each in self.form.controls]}"
        control = found[0]
        if control.fold is not None and control.fold not in self._opened:
            self._opened.add(control.fold)
            self.actions += 1
        if control.kind == "select":
            matching = [sent for said, sent in control.options.items() if value in said]
            assert matching, f"{value!r} is not offered for {label!r}: {list(control.options)}"
            value = matching[0]
        self.actions += 1
        self._filled[control.name] = value

    async def save(self, *, then: bool = False) -> None:
        """Send the form with what it had and what was filled in; `then` by the button that leads to the next gap."""
        form = self.form
        assert form.action is not None, f"no form at {self.at}"
        sent = {each.name: each.value for each in form.controls if each.kind != "checkbox" or each.value}
        sent.update(self._filled)
        if then:
            assert "Save, then the next gap" in self.text
            sent["then"] = "next"
        self.actions += 1
        path = urljoin(self.at, form.action)
        self._show(await self.client.post(path, data=sent, headers=OURS), path)
        if self.status == 303:
            await self.open(urljoin(path, self._to))

    async def sign_in(self, key: str) -> None:
        """Type the key on the sign-in page that is shown."""
        self.actions += 2
        onwards = httpx.URL(self.at).params.get("next", "")
        answer = await self.client.post("/sign-in", data={"key": key, "next": onwards}, headers=OURS)
        assert answer.status_code == 303, answer.text
        await self.open(answer.headers["location"])
