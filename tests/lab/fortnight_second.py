"""The second week of the fortnight: what is no work, a sketchbook, a call for entries."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from .fortnight_acts import Acts


class SecondWeek(Acts):
    """The days, one method each; a step is an act and what must be seen after it."""

    def day_8(self) -> None:
        wren, step = self.studio, partial(self.studio.step, 8)
        screen = "Screenshot_20260508-101112.png"
        group = (5229, 5230, 5231)
        step(
            "three takes of a work on its side",
            "one work",
            lambda: self.put(*group),
            lambda: self.listed(*group, takes="3"),
        )
        before = self.shape(*group)
        step(
            "“turn: left” in the notes",
            "the pictures stand the other way",
            lambda: self.words(range(5229, 5232), "title: Skerry Light", "turn: left"),
            lambda: "" if self.shape(*group) == before[::-1] else f"{self.shape(*group)}, before {before}",
        )

        def everyday() -> None:
            wren.put(self.photos / screen)
            self.put(5232, 5233)

        def taken_back() -> None:
            wren.note("IMG_5232.txt", "not a work: yes")
            wren.note(f"as painting/{Path(screen).stem}.txt", "not a work: yes")

        step(
            "a screenshot and two photos of a table",
            "left alone; of the one with papers it may ask",
            everyday,
            lambda: self.alone(screen, "IMG_5233.jpg"),
        )
        step(
            "the screenshot is said to be a work",
            "it is finished, or a question",
            lambda: wren.move(screen, f"as painting/{screen}"),
            lambda: (
                ""
                if wren.record(screen).get("outcome") in ("ready", "needs a look")
                else wren.record(screen)["outcome"]
            ),
        )
        step(
            "and taken back: “not a work: yes”",
            "left alone, no question, nothing given out",
            taken_back,
            lambda: self.alone(screen, "IMG_5232.jpg"),
        )

    def day_9(self) -> None:
        wren = self.studio
        pages = range(5240, 5246)

        def book() -> None:
            wren.note("Saltmere Book 2/note.txt", "medium: ink and wash", "year: 2026", "paper: white")
            self.put(*pages, folder="Saltmere Book 2/")

        def seen() -> str:
            return "; ".join(
                filter(None, (self.listed(n, title="Saltmere Book 2", medium="ink and wash") for n in pages))
            )

        wren.step(9, "a sketchbook: six pages in a folder with a note", "six works with the folder's words", book, seen)

    def day_10(self) -> None:
        step = partial(self.studio.step, 10)

        def ebb() -> None:
            self.words(range(5250, 5253), "title: Ebb", *self.entry(2), folder="for submission/")
            self.put(5250, 5251, 5252, folder="for submission/")

        def gut() -> None:
            self.words(range(5253, 5256), "title: The Gut", "also for: submision", *self.entry(1))
            self.put(5253, 5254, 5255)

        step(
            "a work for the call alone, by its folder",
            "only in submission",
            ebb,
            lambda: self.listed(5250, 5251, 5252, title="Ebb", goes="submission", public_since=""),
        )
        step(
            "another one, “also for:” with a typo",
            "everywhere but there; the typo is answered",
            gut,
            lambda: (
                self.listed(5253, 5254, 5255, title="The Gut", goes="site square")
                or self.says("IMG_5253.jpg", "“submission”")
            ),
        )
        step(
            "mend the typo",
            "everywhere and in submission",
            lambda: self.words(range(5253, 5256), "title: The Gut", "also for: submission", *self.entry(1)),
            lambda: self.listed(5253, 5254, 5255, goes="site square submission"),
        )

    def day_11(self) -> None:
        step = partial(self.studio.step, 11)
        words = ("year: 2026", "medium: ink", "price: 90", "alt: Sand")

        def shingle() -> None:
            self.words(range(5256, 5259), "title: Shingle", "for: submission, site", "order: 3", *words)
            self.words(range(5259, 5262), "title: Marram", "also for: submission", "order: 4", *words)
            self.put(5256, 5257, 5258, 5259, 5260, 5261)

        step(
            "two more for the call: “for:” and “also for:”",
            "one there and on the site, one everywhere",
            shingle,
            lambda: (
                self.listed(5256, 5257, 5258, title="Shingle", goes="site submission")
                or self.listed(5259, 5260, 5261, title="Marram", goes="site square submission")
            ),
        )
        step(
            "works --for submission",
            "four works in the order that was said",
            lambda: None,
            lambda: self.called("The Gut", "Ebb", "Shingle", "Marram"),
        )

    def day_12(self) -> None:
        wren, step = self.studio, partial(self.studio.step, 12)

        def stairs() -> None:
            self.words(range(5262, 5265), "title: Lighthouse Stairs", "for: site", "year: c. 2024")
            self.put(5262, 5263, 5264)

        step(
            "a work for the site alone",
            "only there",
            stairs,
            lambda: self.listed(5262, 5263, 5264, title="Lighthouse Stairs", year="c. 2024", goes="site"),
        )
        step(
            "say the toned drawing's title",
            "its words are listed",
            lambda: wren.run("say", "IMG_5214.jpg", "title: Low Water", "year: 2026", "medium: charcoal"),
            lambda: self.listed(5214, 5215, title="Low Water", medium="charcoal", goes="site square"),
        )

    def day_13(self) -> None:
        step = partial(self.studio.step, 13)
        step(
            "Shingle is taken out of the call",
            "three are left, in their order",
            lambda: self.words(range(5256, 5259), "title: Shingle", "for: site", "year: 2026", "medium: ink"),
            lambda: self.called("The Gut", "Ebb", "Marram") or self.listed(5256, 5257, 5258, goes="site"),
        )
        step(
            "three takes of a pencil drawing",
            "one work",
            lambda: self.put(5265, 5266, 5267),
            lambda: self.listed(5265, 5266, 5267, takes="3", goes="site square"),
        )

    def day_14(self) -> None:
        wren, step = self.studio, partial(self.studio.step, 14)
        pdf = wren.folder / "call.pdf"

        def again() -> None:
            assert wren.stop() == 0, "the service did not end with 0"
            wren.start()
            self.put(5268, 5269)

        step(
            "the service is stopped and started; two takes",
            "one work more",
            again,
            lambda: self.listed(5268, 5269, takes="2", goes="site square"),
        )
        step(
            "sheet --for submission",
            "a PDF of three pictures",
            lambda: print(wren.run("sheet", str(pdf), "--for", "submission")),
            lambda: "" if pdf.is_file() and pdf.read_bytes()[:5] == b"%PDF-" else "no PDF",
        )
