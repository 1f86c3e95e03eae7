"""The list of actions is the one source of menus, keys and their page."""

from collections import Counter
from operator import attrgetter

from tbmreview.viewer.actions import ACTS
from tbmreview.viewer.pages import keys_html
from tbmreview.viewer.window import MainWindow


def test_every_action_is_a_method_of_the_window(window: MainWindow) -> None:
    assert all(callable(attrgetter(act.slot)(window)) for act in ACTS)


def test_no_key_does_two_things() -> None:
    keys = Counter(key.lower() for act in ACTS for key in act.keys)
    assert max(keys.values()) == 1


def test_every_key_stands_on_the_page_of_keys() -> None:
    page = keys_html()
    assert all(key in page for act in ACTS for key in act.keys)


def test_no_two_entries_of_a_menu_share_an_access_letter() -> None:
    letters = Counter(
        (act.menu, act.text[act.text.index("&") + 1].lower()) for act in ACTS if "&" in act.text
    )
    assert max(letters.values()) == 1
