"""One suggestion for a misspelt word, within a bound on the time that all suggestions of a run take."""

from __future__ import annotations

from difflib import SequenceMatcher
from typing import TYPE_CHECKING

from fleet.limits import LABEL_CHARS, SUGGESTION_COMPARISONS

if TYPE_CHECKING:
    from collections.abc import Iterable

_LIKE_ENOUGH = 0.6


class Suggester:
    """Finds the known word most like a given one, until the comparisons of this run are used up."""

    def __init__(self) -> None:
        self._left = SUGGESTION_COMPARISONS

    def nearest(self, word: str, known: Iterable[str], like_enough: float = _LIKE_ENOUGH) -> str:
        """The known word most like `word` (from 0, nothing alike, to 1, the same), or nothing."""
        if len(word) > LABEL_CHARS:
            return ""
        best, best_ratio = "", like_enough
        folded = word.lower().replace("_", "-")
        matcher = SequenceMatcher(b=folded, autojunk=False)
        for candidate in known:
            self._left -= 1
            if self._left < 0:
                return best
            matcher.set_seq1(candidate.lower().replace("_", "-"))
            if matcher.real_quick_ratio() > best_ratio and matcher.quick_ratio() > best_ratio:
                ratio = matcher.ratio()
                if ratio > best_ratio:
                    best, best_ratio = candidate, ratio
        return best

    def hint(self, word: str, known: Iterable[str]) -> str:
        """` Did you mean ...?` with the known word most like `word`, or nothing."""
        best = self.nearest(word, known)
        return f" Did you mean `{best}`?" if best else ""
