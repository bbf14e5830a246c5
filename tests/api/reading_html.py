"""A strict page reader: every tag closes, ids are unique, and nothing inline that a strict content policy forbids."""

from html.parser import HTMLParser

VOID = {"meta", "link", "input", "br", "hr", "img"}


class Page(HTMLParser):
    """The words, links and forms of a page. Raises if an element is not closed or closes another one."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.words: list[str] = []
        self.links: list[str] = []
        self.ids: list[str] = []
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.drawing = 0
        self.feed(html)
        self.close()
        assert self.open == [], f"not closed: {self.open}"
        assert len(self.ids) == len(set(self.ids)), f"twice: {[id for id in self.ids if self.ids.count(id) > 1]}"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        for name, value in attrs:
            self.attributes.add(name)
            if name == "id":
                self.ids.append(value or "")
            if name in ("href", "src", "action", "formaction"):
                self.links.append(value or "")
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open[-1] == tag, f"</{tag}> closes {self.open[-1]}"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    @property
    def text(self) -> str:
        """The visible text, with each run of white space as one space."""
        return " ".join("".join(self.words).split())
