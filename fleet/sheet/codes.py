"""Codes of the sheets."""

from __future__ import annotations

from fleet.codes import Code

NO_BROWSER = Code(
    "SHT101",
    "no browser to print a PDF",
    "A browser of the Chromium family prints the PDF from the sheet's HTML page, without a window. None "
    "of chromium, chromium-browser or google-chrome is on the PATH.",
    "Install one (Debian: `apt install chromium`), or leave --pdf out, open the HTML page in any browser and print "
    "it from there.",
)
BROWSER_FAILED = Code(
    "SHT102",
    "the browser made no PDF",
    "The browser ended without writing the file, or did not end in time.",
    "Leave --pdf out, open the HTML page in any browser and print it from there.",
)
BAD_REPORT_TEMPLATE = Code(
    "SHT103",
    "an invalid template of a sheet",
    "A template under templates/report names what the sheet does not have, or is not a template.",
    "Restore the template as it was shipped: install the tool again.",
)
CODES = (NO_BROWSER, BROWSER_FAILED, BAD_REPORT_TEMPLATE)
