"""Every action of the window: what it is called, where it stands, its keys, what it does.

One record each; menus, the page of keys and the tests read this list. `slot` names a method of the
window or of a part of it, called without arguments.
"""

from dataclasses import dataclass
from operator import attrgetter

from PySide6.QtGui import QAction, QKeySequence
from PySide6.QtWidgets import QMainWindow, QMenu

DRIVE, LOOK, JUDGE, HELP = "&Drive", "&Look", "&Judge", "&Help"


@dataclass(frozen=True, slots=True)
class Act:
    """One action."""

    menu: str
    text: str
    slot: str
    keys: tuple[str, ...] = ()
    apart: bool = False  # set apart from the one before


ACTS: tuple[Act, ...] = (
    Act(DRIVE, "&Open another drive…", "open_drive", ("Ctrl+O",)),
    Act(DRIVE, "&Add logs…", "add_logs", ("Ctrl+L",)),
    Act(DRIVE, "Add logs after a &look at their columns…", "look_at_logs", ("Ctrl+Shift+L",)),
    Act(DRIVE, "&Quarantined rows…", "show_rows"),
    Act(DRIVE, "Write &sheet of the stretch in view…", "write_sheet", ("Ctrl+P",), apart=True),
    Act(DRIVE, "Write &table of the stretch in view…", "write_table", ("Ctrl+T",)),
    Act(DRIVE, "&Close", "close", ("Ctrl+Q",), apart=True),
    Act(LOOK, "&Whole drive", "whole", ("Home",)),
    Act(LOOK, "&Closer", "closer", ("+", "=")),
    Act(LOOK, "&Further away", "further", ("-",)),
    Act(LOOK, "A little &back", "back", ("Left",), apart=True),
    Act(LOOK, "A little f&orward", "forward", ("Right",)),
    Act(LOOK, "One view back", "view_back", ("PgUp",)),
    Act(LOOK, "One view forward", "view_forward", ("PgDown",)),
    Act(LOOK, "&Next finding", "next_finding", ("N",), apart=True),
    Act(LOOK, "&Previous finding", "previous_finding", ("P",)),
    Act(LOOK, "Scale &values to the view", "fit_values", ("V",), apart=True),
    Act(JUDGE, "&Agree with the finding", "judging.agree", ("A",)),
    Act(JUDGE, "&Set the finding aside…", "judging.set_aside", ("S",)),
    Act(JUDGE, "&Open the finding again", "judging.reopen", ("O",)),
    Act(JUDGE, "&Mark where the finding is…", "judging.mark_finding", ("M",), apart=True),
    Act(JUDGE, "&Describe the mark…", "judging.describe", ("D",)),
    Act(JUDGE, "&Withdraw the mark…", "judging.withdraw", ("Del",)),
    Act(JUDGE, "&Undo on marks", "judging.undo", ("Ctrl+Z",), apart=True),
    Act(JUDGE, "&Redo on marks", "judging.redo", ("Ctrl+Y", "Ctrl+Shift+Z")),
    Act(JUDGE, "Sign o&ff a shift…", "judging.sign_off", apart=True),
    Act(HELP, "&Method note of what is pointed at", "show_note", ("F1",)),
    Act(HELP, "&All method notes", "show_notes", ("Shift+F1",)),
    Act(HELP, "&Back to the note before", "note_back", ("Backspace",)),
    Act(HELP, "C&lose the note", "close_note", ("Esc",)),
    Act(HELP, "&Cautions", "show_cautions", apart=True),
    Act(HELP, "&Keys and mouse", "show_keys"),
    Act(HELP, "About &tbmreview", "show_about"),
)

MOUSE: tuple[tuple[str, str], ...] = (
    ("drop files on the window", "add logs to the drive"),
    ("drag", "move along the drive"),
    ("wheel", "closer or further away, about the pointer"),
    ("click or drag in the overview", "go there"),
    ("Shift and drag over the strips", "draw a mark"),
    ("drag an end of a mark in its row", "move it"),
    ("double click on a mark in the list", "describe it"),
    ("right click on a strip, a row or a heading", "its method note"),
    ("select a finding in the list", "go there and read its evidence"),
)


def build_menus(window: QMainWindow) -> dict[str, QAction]:
    """Fill the window's menu bar from ACTS; the actions by slot."""
    menus: dict[str, QMenu] = {}
    made: dict[str, QAction] = {}
    for act in ACTS:
        if act.menu not in menus:
            menus[act.menu] = window.menuBar().addMenu(act.menu)
        menu = menus[act.menu]
        if act.apart:
            menu.addSeparator()
        action = QAction(act.text, window)
        action.setShortcuts([QKeySequence(key) for key in act.keys])
        action.triggered.connect(attrgetter(act.slot)(window))
        menu.addAction(action)
        made[act.slot] = action
    return made
