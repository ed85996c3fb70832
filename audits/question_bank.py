"""All makers of quiz questions that fit one block's standard."""

from typing import Final

from audits.bank import (
    columns,
    everywhere,
    heading,
    limbs,
    top,
    tree_branches,
    tree_limbs,
    tree_tops,
)
from audits.bank.maker import Maker
from audits.standard import Standard
from audits.vocabulary import Method


def makers(standard: Standard, method: Method) -> tuple[Maker, ...]:
    """
    Return the makers that fit a standard.

    Parameters
    ----------
    standard : Standard
        The block's rule.
    method : Method
        How the crew works.

    Returns
    -------
    tuple of Maker
        Makers of the stages in use, of what holds everywhere, and of the safety notes.
    """
    used = standard.stages_in_use
    return (
        *(maker for maker in _STAGE_MAKERS if maker.stage in used),
        *everywhere.makers_for(method),
    )


_STAGE_MAKERS: Final = (
    *top.MAKERS,
    *tree_tops.MAKERS,
    *limbs.MAKERS,
    *tree_limbs.MAKERS,
    *columns.MAKERS,
    *heading.MAKERS,
    *tree_branches.MAKERS,
)
