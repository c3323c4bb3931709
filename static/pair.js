// The code in a QR picture is after the # of the address: a browser does not send that part.
"use strict";

const carried = location.hash.slice(1);
const code = document.getElementById("code");
if (carried && code instanceof HTMLInputElement) {
  code.value = carried;
  history.replaceState(null, "", location.pathname);
  document.getElementById("name")?.focus();
}
