"""The base of all parts of the model.

Field names end in the unit they hold; the keys in the files (aliases) do not, for there each quantity is
written with its unit (`diameter: 2.4 m`). All parts are immutable.
"""

from __future__ import annotations

from pydantic import (
    BaseModel,
    ConfigDict,
)


class Part(BaseModel):
    """Base of all parts: unknown keys are errors, nothing changes after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=False, str_strip_whitespace=False)
