"""Texts that a careless report would run, follow, or break on."""

from typing import Final

# Characters to escape in exported cells: OWASP Application Security Verification Standard 5.0,
# requirement 1.2.10. The others were seen in practice.
CELLS: Final = (
    "=1+1",
    "+1+1",
    "-1+1",
    "@SUM(1)",
    "\t=1",
    "\0=1",
    "\r=1",
    "\n=1",
    " =1",
    "\u00a0=1",
    "\u200b=1",
    "\ufeff=1",
    "\uff1d1+1",
    "\uff0b1",
    "\uff0d1",
    "\uff20SUM(1)",
    "|calc",
    "%0A=1",
    '=HYPERLINK("http://x.example","y")',
    "=cmd|' /C calc'!A0",
    "'=1+1",
    "''",
    '"=1',
    ";=1",
    "\r\n+1",
    "http://x.example/",
    "mailto:a@x.example",
    "_x0041_",
    'plain, with comma and "quotes"',
    "two\nlines",
)

MARKUP: Final = (
    '<img src="http://127.0.0.1/x.png"/>',
    "<b>unclosed",
    '<font color="red">x</font>',
    "a & b < c",
    "&#0;",
    "</para><para>",
)
