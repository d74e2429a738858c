"""The first week of the fortnight: words, holds, a late take, questions, outlines that are put right."""

from __future__ import annotations

from functools import partial

import numpy as np

from .fortnight_acts import Acts


class FirstWeek(Acts):
    """The days, one method each; a step is an act and what must be seen after it."""

    def day_1(self) -> None:
        wren, step = self.studio, partial(self.studio.step, 1)
        lines = ("year: 3 May 2026", "medium: watercolour", "size: 16 1/2 x 11 3/4 in", "alt: A wall by the sea")

        def harbour() -> None:
            wren.note("IMG_5201.txt", "ttl: Harbour Wall", *lines)
            self.put(5201, 5202, 5203)

        step(
            "three takes and a note before them, with a typo",
            "one work of three takes; the typo is answered",
            harbour,
            lambda: (
                self.listed(5201, 5202, 5203, title="", takes="3", goes="site square")
                or self.says("IMG_5201.jpg", "the nearest word is “title”")
            ),
        )
        step(
            "mend the typo",
            "title, year, medium and size in inches are listed",
            lambda: wren.note("IMG_5201.txt", "title: Harbour Wall", *lines),
            lambda: self.listed(5201, 5202, 5203, title="Harbour Wall", year="2026", medium="watercolour", unit="in"),
        )
        step(
            "two takes without a word",
            "one work of two takes",
            lambda: self.put(5204, 5205),
            lambda: self.listed(5204, 5205, title="", takes="2", goes="site square"),
        )
        step(
            "a note after: Thrift, A5",
            "it is listed with its words",
            lambda: wren.note("IMG_5204.txt", "Title: Thrift", "date: 2026-05-01", "technique: ink", "size: A5"),
            lambda: self.listed(5204, 5205, title="Thrift", year="2026", medium="ink", unit="cm"),
        )

    def day_2(self) -> None:
        wren, step = self.studio, partial(self.studio.step, 2)
        step(
            "a shaken photo",
            "it is used: there is no better",
            lambda: self.put(5206),
            lambda: self.listed(5206, takes="1", goes="site square"),
        )
        step(
            "say its title and date from the command line",
            "they are listed",
            lambda: wren.run("say", "IMG_5206.jpg", "title: Kelp Line", "year: 2 May 2026", "medium: pencil"),
            lambda: self.listed(5206, title="Kelp Line", year="2026", medium="pencil"),
        )

        def north_slip() -> None:
            wren.note("North Slip/note.txt", "medium: oil on board", "year: 2026")
            self.put(5208, 5209, 5210, folder="North Slip/")

        step(
            "a folder with a name and a note for all in it",
            "title by the folder, words by its note",
            north_slip,
            lambda: self.listed(5208, 5209, 5210, title="North Slip", medium="oil on board", takes="3"),
        )

    def day_3(self) -> None:
        step = partial(self.studio.step, 3)

        def sea_kale() -> None:
            self.words(range(5211, 5214), "title: Sea Kale", "year: spring 2026", "medium: watercolour", folder="hold/")
            self.put(5211, 5212, 5213, folder="hold/")

        step(
            "three takes into hold/",
            "listed as held, nothing is given out",
            sea_kale,
            lambda: self.listed(5211, 5212, 5213, title="Sea Kale", held="held", goes="", public_since=""),
        )
        step(
            "two takes of a drawing on toned paper",
            "one work",
            lambda: self.put(5214, 5215),
            lambda: self.listed(5214, 5215, takes="2", goes="site square"),
        )
        step(
            "two takes with a grey card",
            "one work, its light taken from the card",
            lambda: self.put(5216, 5217, folder="with grey card/"),
            lambda: self.listed(5216, 5217, takes="2") or self.says("IMG_5217.jpg", "grey card"),
        )
        step(
            "a late, better take of Kelp Line",
            "it is used, and keeps the words",
            lambda: self.put(5207),
            lambda: self.listed(5207, title="Kelp Line", takes="2", goes="site square"),
        )

    def day_4(self) -> None:
        wren, step = self.studio, partial(self.studio.step, 4)

        def punt() -> None:
            wren.note("IMG_5218.txt", "title: Punt", "hold: yes")
            self.put(5218, 5219, 5220)

        step(
            "three takes, “hold: yes” in the first one's note",
            "listed as held, nothing is given out",
            punt,
            lambda: self.listed(5218, 5219, 5220, title="Punt", held="held", goes=""),
        )
        name = "Gorse on the Neck, 2025, gouache.jpg"
        step(
            "a photo whose name says it all",
            "title, year and medium from the name",
            lambda: wren.put(self.photos / name),
            lambda: (
                ""
                if (row := wren.rows().get(name, {}))
                and (row["title"], row["year"], row["medium"]) == ("Gorse on the Neck", "2025", "gouache")
                else str(row)
            ),
        )

    def day_5(self) -> None:
        wren, step = self.studio, partial(self.studio.step, 5)

        def release() -> None:
            for place in sorted((wren.inbox / "hold").iterdir()):
                wren.move(f"hold/{place.name}", place.name)
            wren.note("IMG_5218.txt", "title: Punt", "year: 2026", "medium: ink")

        step(
            "both held works are let go",
            "both lie in ready, none is held",
            release,
            lambda: (
                self.listed(5211, 5212, 5213, title="Sea Kale", held="", goes="site square")
                or self.listed(5218, 5219, 5220, title="Punt", held="", goes="site square")
            ),
        )

    def day_6(self) -> None:
        wren, step = self.studio, partial(self.studio.step, 6)
        one, two, three, four = (f"IMG_{number}.jpg" for number in (5222, 5223, 5224, 5225))

        def strict() -> None:
            wren.setting("sure_enough = 0.90", "sure_enough = 1.0")
            self.put(5222, 5223, 5224, 5225)

        step(
            "ask whatever is less than certain; four photos",
            "four questions, no older work asks",
            strict,
            lambda: self.asks(one, two, three, four) or ("" if wren.status()["questions"] == 4 else str(wren.status())),
        )
        step(
            "1: leave a wrong choice",
            "finished by a wrong outline",
            lambda: self.choose(one, right=False),
            lambda: self.outlined(one, right=False),
        )
        step(
            "1: “outline: ask again”",
            "the question is back",
            lambda: wren.note("IMG_5222.txt", "outline: ask again"),
            lambda: self.asks(one),
        )
        step(
            "1: leave the right choice",
            "finished by the right outline",
            lambda: self.choose(one, right=True),
            lambda: self.outlined(one),
        )
        step(
            "2: none of these",
            "the next ones are offered, or the photo rests",
            lambda: self.refuse(two),
            lambda: self.asks(two) or ("" if wren.record(two)["refused"] else "nothing was refused"),
        )
        step(
            "2: choose among the next, or set the corners",
            "finished by the right outline",
            lambda: self.settle(two),
            lambda: self.outlined(two),
        )
        step(
            "3: the corner page's note",
            "finished by these corners",
            lambda: self.corner_note(three, wren.truth[three]),
            lambda: self.outlined(three),
        )
        step(
            "4: “outline: whole photo”",
            "finished as it is",
            lambda: wren.note("IMG_5225.txt", "outline: whole photo"),
            lambda: self.outlined(four),
        )
        step(
            "settings as before",
            "nothing asks any more",
            lambda: wren.setting("sure_enough = 1.0", "sure_enough = 0.90"),
            lambda: "" if wren.status()["questions"] == 0 else str(wren.status()),
        )

    def day_7(self) -> None:
        wren, step = self.studio, partial(self.studio.step, 7)
        framed, sheet = "IMG_5227.jpg", "IMG_5228.jpg"
        true = np.array(wren.truth[sheet])
        inner = true + 0.2 * (true.mean(axis=0) - true)
        step(
            "several works in one photo",
            "a question that stays",
            lambda: self.put(5226),
            lambda: self.asks("IMG_5226.jpg"),
        )
        step(
            "a painting in its frame, a drawing",
            "both are finished",
            lambda: self.put(5227, 5228),
            lambda: self.outlined(framed) or self.outlined(sheet),
        )
        outer = wren.outline(framed)
        step(
            "“outline: inside frame”",
            "the outline lies within the frame, or a question",
            lambda: wren.note("IMG_5227.txt", "title: Squall", "outline: inside frame"),
            lambda: self.asks(framed) and self.within(framed, outer),
        )
        frame = np.array(wren.truth[framed])
        step(
            "the painting's corners by the corner page",
            "the outline lies within the frame",
            lambda: self.corner_note(framed, frame + 0.25 * (frame.mean(axis=0) - frame)),
            lambda: self.within(framed, outer),
        )
        step(
            "the drawing's own edges by the corner page",
            "finished by these corners",
            lambda: self.corner_note(sheet, inner),
            lambda: "" if np.allclose(wren.outline(sheet), inner, atol=2) else f"outline {wren.outline(sheet)}",
        )
