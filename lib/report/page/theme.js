// Light or dark, settled before anything is drawn: as ?theme=dark in the address says, else as the system wishes.
"use strict";
document.documentElement.dataset.theme =
  new URLSearchParams(location.search).get("theme") ||
  (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light");
