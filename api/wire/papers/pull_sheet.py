"""The pull sheet on paper: by where things are used, in the order of work, with boxes to tick.

What to load comes first, the cuts of each reel with the work that needs them, and the reasons at the end, for
whoever asks.
"""

from collections.abc import Iterator

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, PageBreak, Spacer, Table, TableStyle

from api.wire.papers.clipboard import (
    AMOUNT,
    BAND,
    BODY,
    CODE,
    HEADING,
    MARGIN,
    PAPERS,
    RULE,
    SMALL,
    STRONG,
    WARNING,
    CutBar,
    ScanCode,
    TickBox,
    build_pdf,
    say,
)
from jobs.queries.cut_lists import CutList, SheetTags
from jobs.queries.kit_stock import Pick
from jobs.queries.pull_sheet import PullSheet, SheetLine, SheetStep, show_quantity

# Where along the cable each thing is used, in the order of work; what is not named goes with the crew.
GROUPS = {
    "Pressure end": ("fluid", "pressure_end"),
    "Exit end": ("exit_end", "catch"),
    "Cleaning": ("union", "projectile", "seal", "sweep"),
    "Blowing": ("fibre", "duct"),
}
REST = "With the crew"
FOOT = "Tick what is aboard. The last digit of a code checks the others: scan it, or type it as it stands."
# Cautions stand where the work is that they are about; those without a word of it stand at the top.
CAUTION_WORDS = {
    "Pressure end": ("leak", "de-energised", "vent before", "drums", "air before entering"),
    "Exit end": ("core comes out", "drain"),
    "Cleaning": ("projectile", "blocked run"),
}


def make_pull_sheet_pdf(sheet: PullSheet, tags: SheetTags, *, paper: str = "a4") -> bytes:
    """The sheet as PDF on A4 or Letter paper."""
    width = PAPERS[paper][0] - 2 * MARGIN
    page = _Page(sheet, tags, width)
    head = f"{sheet.crew_name} ({sheet.crew_code})   {sheet.date:%A} {sheet.date}   {sheet.vehicle}"
    title = f"Pull sheet {sheet.crew_code} {sheet.date}"
    return build_pdf(list(page.lay_out()), title=title, head=head, foot=FOOT, paper=paper)


class _Page:
    """One sheet on its way to paper of this width."""

    def __init__(self, sheet: PullSheet, tags: SheetTags, width: float) -> None:
        self.sheet, self.tags, self.width = sheet, tags, width
        self.numbers = {id(line): number for number, line in enumerate(self._in_order(), start=1)}

    def lay_out(self) -> Iterator[Flowable]:
        sheet = self.sheet
        yield say(f"Kit from {sheet.warehouse}; {sheet.state}.", BODY)
        yield Spacer(1, 2 * mm)
        yield from self._shortages()
        yield from self._sentences("Look at the plan", sheet.remarks)
        yield from self._sentences("Before anything else", self._cautions_of(None))
        yield from self._steps()
        for group in (*GROUPS, REST):
            yield from self._group(group)
        yield from self._reasons()

    def _in_order(self) -> list[SheetLine]:
        return [line for group in (*GROUPS, REST) for line in self._lines_of(group)]

    def _lines_of(self, group: str) -> list[SheetLine]:
        named = {section for sections in GROUPS.values() for section in sections}
        lines = [
            line
            for line in self.sheet.lines
            if (line.section in GROUPS[group] if group in GROUPS else line.section not in named)
        ]
        return sorted(lines, key=lambda line: line.first_position)

    def _shortages(self) -> Iterator[Flowable]:
        short = self.sheet.shortages
        if not short:
            if self.sheet.lines:
                yield say("Nothing is short.", STRONG)
            return
        yield say("Short", HEADING)
        for line in short:
            yield say(f"{line.title}: {show_quantity(line.short, line.unit)}", WARNING)

    def _sentences(self, title: str, sentences: list[str]) -> Iterator[Flowable]:
        if sentences:
            rows = [[say("!", WARNING), say(sentence)] for sentence in sentences]
            table = Table(rows, colWidths=[6 * mm, self.width - 6 * mm], style=_TIGHT)
            yield KeepTogether([say(title, HEADING), table])

    def _steps(self) -> Iterator[Flowable]:
        if not self.sheet.steps:
            return
        yield say("Work, in order", HEADING)
        widths = [8 * mm, 8 * mm, self.width - 46 * mm, 30 * mm]
        yield Table([self._step(step) for step in self.sheet.steps], colWidths=widths, style=_RULED)

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
        band = Table([[say(group, STRONG)]], colWidths=[self.width], style=_BAND)
        # The group's name is never left alone at the foot of a page.
        yield KeepTogether([Spacer(1, 4 * mm), band, *cautions, Spacer(1, 1 * mm), *first])
        for line in others:
            yield KeepTogether(line)
        if group == "Blowing":
            for cut_list in self.tags.cut_lists:
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
        parts: list[Flowable] = [Table(head, colWidths=[self.width * 0.55, self.width * 0.45], style=_TIGHT)]
        if line.picks:
            widths = [8 * mm, 30 * mm, self.width - 86 * mm, 30 * mm, 18 * mm]
            parts.append(Table([self._pick(pick) for pick in line.picks], colWidths=widths, style=_RULED))
        if line.short:
            parts.append(say(f"Short {show_quantity(line.short, line.unit)}.", WARNING))
        elif not line.to_take:
            parts.append(say("Nothing to take; it is on the truck.", SMALL))
        parts.append(Spacer(1, 2 * mm))
        return parts

    def _pick(self, pick: Pick) -> list[object]:
        code = self.tags.codes.get(pick.container, "")
        where = [say(pick.container or pick.place, STRONG)]
        about = ", ".join(part for part in (pick.place if pick.container else "", pick.note) if part)
        if about:
            where.append(say(about, SMALL))
        return [
            TickBox(),
            say(show_quantity(pick.quantity, pick.unit), STRONG),
            where,
            say(code, CODE) if code else "",
            ScanCode(code) if code else "",
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
        return [say(title, STRONG), bar, Table(rows, colWidths=widths, style=_RULED), Spacer(1, 3 * mm)]

    def _reasons(self) -> Iterator[Flowable]:
        if not self.numbers:
            return
        yield PageBreak()
        yield say("Why so much", HEADING)
        yield say("The numbers are those of the lines before.", SMALL)
        rows = [
            [say(str(self.numbers[id(line)]), STRONG), [say(line.title, STRONG), say(line.why)]]
            for line in self._in_order()
        ]
        yield Table(rows, colWidths=[10 * mm, self.width - 10 * mm], style=_REASONS)


def _mark(text: str) -> object:
    """A mark, or room to write down the one that is read."""
    return say(text, STRONG) if text else say("read: ______________", SMALL)


_PLAIN = [
    ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
    ("LEFTPADDING", (0, 0), (-1, -1), 0),
    ("RIGHTPADDING", (0, 0), (-1, -1), 4),
    ("TOPPADDING", (0, 0), (-1, -1), 2),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
]
_TIGHT = TableStyle(_PLAIN)
_RULED = TableStyle([*_PLAIN, ("LINEBELOW", (0, 0), (-1, -1), 0.4, RULE)])
_REASONS = TableStyle(
    [*_PLAIN, ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LINEBELOW", (0, 0), (-1, -1), 0.4, RULE)]
)
_BAND = TableStyle([*_PLAIN, ("BACKGROUND", (0, 0), (-1, -1), BAND), ("LEFTPADDING", (0, 0), (-1, -1), 4)])
