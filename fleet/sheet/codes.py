"""Codes of the sheets."""

from __future__ import annotations

from fleet.codes import Code

NO_BROWSER = Code(
    "SHT101",
    "no browser to make a PDF with",
    "A PDF is printed from the sheet's HTML page by a browser of the Chromium family without a window; none of "
    "chromium, chromium-browser or google-chrome is on the PATH.",
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
    "a template of a sheet is wrong",
    "A template under templates/report names what the sheet does not have, or cannot be read as a template.",
    "Put the template back as it was shipped: install the tool again.",
)
CODES = (NO_BROWSER, BROWSER_FAILED, BAD_REPORT_TEMPLATE)
