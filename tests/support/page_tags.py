"""What a page is made of, as a browser's parser sees it."""

from __future__ import annotations

from html.parser import HTMLParser


class Tags(HTMLParser):
    def __init__(self, page: str) -> None:
        super().__init__()
        self.seen: list[tuple] = []
        self.text = ""
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, *sorted(a for a, _ in attrs)))

    def handle_data(self, data):
        self.text += data
