"""Names that stand for a part elsewhere: each must be there."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from fleet.boards.board import board_ids
from fleet.check.codes import LONE_SUPPLY_GROUP, NO_SUCH_BOARD, NO_SUCH_SITE, NO_SUCH_TANK
from fleet.finding import Finding, Subject
from fleet.inventory.parsed import subject_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.finding import Place
    from fleet.inventory.parsed import Parsed


def references_resolve(survey: Parsed) -> Iterator[Finding]:
    """Each tank's site, each served tank, each board."""
    for tank in survey.tanks:
        if survey.missing("sites", tank.part.site, survey.site_by_name):
            hint = survey.suggester.hint(tank.part.site, survey.site_by_name)
            what = f"there is no site `{tank.part.site}`.{hint}"
            yield Finding(NO_SUCH_SITE, what, tank.value("site"), subject=subject_of(tank))
    for node in survey.nodes:
        subject = subject_of(node)
        for index, served in enumerate(node.part.serves):
            if survey.missing("tanks", served.tank, survey.tank_by_name):
                hint = survey.suggester.hint(served.tank, survey.tank_by_name)
                what = f"there is no tank `{served.tank}`.{hint}"
                yield Finding(NO_SUCH_TANK, what, node.value("serves", index, "tank"), subject=subject)
        if node.part.board not in board_ids():
            yield _no_board(survey, node.part.board, node.value("board"), subject)
    for site in survey.sites:
        for index, stock in enumerate(site.part.spare_boards):
            if stock.board not in board_ids():
                place = site.value("spare_boards", index, "board")
                yield _no_board(survey, stock.board, place, subject_of(site))


def _no_board(survey: Parsed, board: str, place: Place, subject: Subject) -> Finding:
    fix = f"The boards are {', '.join(f'`{known}`' for known in board_ids())}."
    what = f"there is no board `{board}`.{survey.suggester.hint(board, board_ids())}"
    return Finding(NO_SUCH_BOARD, what, place, subject=subject, fix_here=fix)


def supply_groups_shared(survey: Parsed) -> Iterator[Finding]:
    """A supply group of one tank stands in for nothing; often it is a slip in the name."""
    groups = Counter(tank.part.supply_group for tank in survey.tanks if tank.part.supply_group)
    for tank in survey.tanks:
        group = tank.part.supply_group
        if group and groups[group] == 1 and survey.whole:
            others = [known for known in groups if known != group]
            what = f"no other tank is in the supply group `{group}`.{survey.suggester.hint(group, others)}"
            place = tank.value("supply_group")
            yield Finding(LONE_SUPPLY_GROUP, what, place, subject=subject_of(tank))
