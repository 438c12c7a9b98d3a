"""The pull sheet on paper: by where things are used, in the order of work, with boxes to tick.

What to load comes first, the cuts of each reel with the work that needs them, and the reasons at the end, for
whoever asks.
"""

from collections.abc import Iterator

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, PageBreak, Spacer, Table, TableStyle

from api.wire.papers.clipboard import BANDED, CODE, PLAIN_TABLE, RULED, TIGHT, CutBar, ScanCode, TickBox
from api.wire.papers.paper import AMOUNT, BODY, HEADING, RULE, SMALL, STRONG, WARNING, Paper, head, say
from jobs.queries.check_lists import CheckItem
from jobs.queries.kit_stock import Pick
from jobs.queries.pull_sheet import GROUP_ORDER, PullSheet, SheetLine, SheetStep, show_quantity
from jobs.queries.sheet_lines import CutList
from jobs.queries.sheet_reasons import explain_line

FOOT = "Tick what is aboard. The last digit of a code checks the others: scan it, or type it as it stands."
TITLES = {"crew": "With the crew"}
# Cautions stand where the work is that they are about; those without a word of it stand at the top.
CAUTION_WORDS = {
    "pressure end": ("leak", "de-energised", "vent before", "drums", "air before entering"),
    "exit end": ("core comes out", "drain"),
    "cleaning": ("projectile", "blocked run"),
}
NUMBERS = {"on_truck": "on the truck", "to_take": "to take"}


def make_pull_sheet_pdf(sheet: PullSheet, *, paper: str = "letter") -> bytes:
    """The sheet as PDF on A4 or Letter paper."""
    page = Paper(
        title=f"{sheet.crew_name} ({sheet.crew_code})   {sheet.date:%A} {sheet.date}   {sheet.vehicle}",
        paper=paper,
        foot=FOOT,
    )
    page.parts = list(_Page(sheet, page.width).lay_out())
    return page.to_pdf()


class _Page:
    """One sheet on its way to paper of this width."""

    def __init__(self, sheet: PullSheet, width: float) -> None:
        self.sheet, self.width = sheet, width
        self.numbers = {id(line): number for number, line in enumerate(sheet.lines, start=1)}

    def lay_out(self) -> Iterator[Flowable]:
        sheet = self.sheet
        yield say(f"Kit from {sheet.warehouse}; {sheet.state}.", BODY)
        yield Spacer(1, 2 * mm)
        yield from self._shortages()
        yield from self._sentences("Look at the plan", sheet.remarks)
        yield from self._sentences("Before anything else", self._cautions_of(None))
        yield from self._steps()
        for group in GROUP_ORDER:
            yield from self._group(group)
        yield from self._load()
        yield from self._check_list("Protection to put on", is_protective=True)
        yield from self._check_list("Gear to look for", is_protective=False)
        yield from self._reasons()

    def _lines_of(self, group: str) -> list[SheetLine]:
        return [line for line in self.sheet.lines if line.group == group]

    def _shortages(self) -> Iterator[Flowable]:
        short = self.sheet.shortages
        if not short:
            if self.sheet.lines:
                yield say("Nothing is short.", STRONG)
            return
        yield from head("Short")
        for line in short:
            yield say(f"{line.title}: {show_quantity(line.short, line.unit)}", WARNING)
            if line.help:
                yield say(line.help, SMALL)

    def _sentences(self, title: str, sentences: list[str]) -> Iterator[Flowable]:
        if sentences:
            rows = [[say("!", WARNING), say(sentence)] for sentence in sentences]
            table = Table(rows, colWidths=[6 * mm, self.width - 6 * mm], style=TIGHT)
            yield KeepTogether([say(title, HEADING), table])

    def _steps(self) -> Iterator[Flowable]:
        if not self.sheet.steps:
            return
        yield from head("Work, in order")
        widths = [8 * mm, 8 * mm, self.width - 46 * mm, 30 * mm]
        yield Table([self._step(step) for step in self.sheet.steps], colWidths=widths, style=RULED)

    def _step(self, step: SheetStep) -> list[object]:
        mark: object = "" if step.is_stopped else TickBox()
        words = [say(step.title, SMALL if step.is_stopped else STRONG), say(step.detail, SMALL)]
        return [mark, say(str(step.position), STRONG), words, say(step.job, SMALL)]

    def _group(self, group: str) -> Iterator[Flowable]:
        lines = self._lines_of(group)
        if not lines:
            return
        first, *others = [self._line(line) for line in lines]
        cautions = [say(f"! {sentence}", WARNING) for sentence in self._cautions_of(group)]
        title = TITLES.get(group, group.capitalize())
        band = Table([[say(title, STRONG)]], colWidths=[self.width], style=BANDED)
        # The group's name is never left alone at the foot of a page.
        yield KeepTogether([Spacer(1, 4 * mm), band, *cautions, Spacer(1, 1 * mm), *first])
        for line in others:
            yield KeepTogether(line)
        if group == "blowing":
            for cut_list in self.sheet.cut_lists:
                yield KeepTogether(self._cuts(cut_list))

    def _cautions_of(self, group: str | None) -> list[str]:
        """The sheet's cautions that belong to a group shown; to none where it is not named."""
        shown = [name for name in CAUTION_WORDS if self._lines_of(name)]
        found = []
        for sentence in self.sheet.cautions:
            low = sentence.lower()
            home = next((name for name in shown if any(word in low for word in CAUTION_WORDS[name])), None)
            if home == group:
                found.append(sentence)
        return found

    def _line(self, line: SheetLine) -> list[Flowable]:
        said = f"needs {show_quantity(line.needed, line.unit)}"
        if line.on_truck:
            said += f", {show_quantity(line.on_truck, line.unit)} on the truck"
        head = [[say(f"{self.numbers[id(line)]}  {line.title}", STRONG), say(said, AMOUNT)]]
        parts: list[Flowable] = [Table(head, colWidths=[self.width * 0.55, self.width * 0.45], style=TIGHT)]
        picks = [*line.picks, *line.elsewhere]
        if picks:
            widths = [8 * mm, 30 * mm, self.width - 86 * mm, 30 * mm, 18 * mm]
            parts.append(Table([self._pick(pick) for pick in picks], colWidths=widths, style=RULED))
        parts += [say(f"Tag {tag}", SMALL) for tag in line.tags]
        named = ", ".join(f"{pick.container} ({pick.short_code})" for pick in line.there if pick.container)
        if line.short:
            parts.append(say(f"Short {show_quantity(line.short, line.unit)}.", WARNING))
        elif not line.to_take:
            parts.append(say(f"Nothing to take; it is on the truck{f': {named}' if named else ''}.", SMALL))
        if named and line.to_take:
            parts.append(say(f"On the truck: {named}.", SMALL))
        parts.append(Spacer(1, 2 * mm))
        return parts

    def _pick(self, pick: Pick) -> list[object]:
        where = [say(pick.container or pick.place, STRONG)]
        about = ", ".join(part for part in (pick.place if pick.container else "", pick.note) if part)
        if about:
            where.append(say(about, SMALL))
        if pick.caution:
            where.append(say(pick.caution, WARNING))
        return [
            TickBox(),
            say(show_quantity(pick.quantity, pick.unit), STRONG),
            where,
            say(pick.short_code, CODE) if pick.short_code else "",
            ScanCode(pick.short_code) if pick.short_code else "",
        ]

    def _cuts(self, cut_list: CutList) -> list[Flowable]:
        widths = [8 * mm, self.width - 113 * mm, 30 * mm, 35 * mm, 40 * mm]
        rows: list[list[object]] = [
            ["", say("Cut", SMALL), say("Length", SMALL), say("Mark from", SMALL), say("Mark to", SMALL)]
        ]
        rows += [
            [
                TickBox(),
                say(f"{number}  {cut.title}"),
                say(cut.length, STRONG),
                _mark(cut.mark_from),
                _mark(cut.mark_to),
            ]
            for number, cut in enumerate(cut_list.cuts, start=1)
        ]
        left = f": {cut_list.left}" if cut_list.left else ""
        title = f"Cuts of reel {cut_list.reel}{left}"
        bar = CutBar(cut_list.held, [float(cut.quantity) for cut in cut_list.cuts], self.width)
        return [say(title, STRONG), bar, Table(rows, colWidths=widths, style=RULED), Spacer(1, 3 * mm)]

    def _load(self) -> Iterator[Flowable]:
        load = self.sheet.load
        if load is not None and self.sheet.lines:
            yield KeepTogether(
                [say("The load", HEADING), say(load.sentence, WARNING if load.is_over else BODY)]
            )

    def _check_list(self, title: str, *, is_protective: bool) -> Iterator[Flowable]:
        """Boxes to tick, two beside each other."""
        items = [item for item in self.sheet.check_list if item.is_protective == is_protective]
        if not items:
            return
        cells = [[TickBox(), _check(item)] for item in items]
        rows = [
            [*cells[at], *(cells[at + 1] if at + 1 < len(cells) else ["", ""])]
            for at in range(0, len(cells), 2)
        ]
        widths = [8 * mm, self.width / 2 - 8 * mm] * 2
        yield KeepTogether([say(title, HEADING), Table(rows, colWidths=widths, style=TIGHT)])

    def _reasons(self) -> Iterator[Flowable]:
        if not self.numbers:
            return
        yield PageBreak()
        yield say("Why so much", HEADING)
        yield say("The numbers are those of the lines before.", SMALL)
        rows = [
            [say(str(self.numbers[id(line)]), STRONG), self._reasons_of(line)] for line in self.sheet.lines
        ]
        yield Table(rows, colWidths=[10 * mm, self.width - 10 * mm], style=_REASONS)

    def _reasons_of(self, line: SheetLine) -> list[Flowable]:
        found: list[Flowable] = [say(line.title, STRONG)]
        for reason in explain_line(line):
            number = NUMBERS.get(reason.number, reason.number)
            found.append(say(f"{number} {show_quantity(reason.quantity, line.unit)}: {reason.why}"))
        return found


def _check(item: CheckItem) -> list[Flowable]:
    return [say(item.name), *([say(item.detail, SMALL)] if item.detail else [])]


def _mark(text: str) -> object:
    """A mark, or room to write down the one that is read."""
    return say(text, STRONG) if text else say("read: ______________", SMALL)


_REASONS = TableStyle(
    [*PLAIN_TABLE, ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LINEBELOW", (0, 0), (-1, -1), 0.4, RULE)]
)
