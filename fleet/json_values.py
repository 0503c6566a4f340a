"""Types of values in the JSON that commands print, with what each may be: `docs/schemas.py` makes the schemas of them.

Where they annotate a dataclass they are for that alone, and nothing checks them at run time.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
"""A SHA-256."""
Crc = Annotated[str, Field(pattern=r"^[0-9a-f]{8}$")]
AuditCode = Annotated[str, Field(pattern=r"^(AUD|FND)[0-9]{3}$")]
CodeName = Annotated[str, Field(pattern=r"^[A-Z]{3}[0-9]{3}$")]
Mac = Annotated[str, Field(pattern=r"^[0-9a-f]{2}(:[0-9a-f]{2}){5}$")]
"""Of a board, or the BSSID of an access point."""
NotEmpty = Annotated[str, Field(min_length=1)]
Day = Annotated[str, Field(json_schema_extra={"format": "date"})]
Moment = Annotated[str, Field(json_schema_extra={"format": "date-time"})]
Uuid = Annotated[str, Field(json_schema_extra={"format": "uuid"})]
Count = Annotated[int, Field(ge=0)]
Some = Annotated[int, Field(ge=1)]
"""One or more."""
Port = Annotated[int, Field(ge=1, le=65_535)]
Channel = Annotated[int, Field(ge=1, le=14)]
NotNegative = Annotated[float, Field(ge=0)]
