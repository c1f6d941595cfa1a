// Asks the browser for a passkey (W3C Web Authentication) and sends its answer with the form.

const read = (text) => Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), (one) => one.charCodeAt(0));
const write = (buffer) =>
  btoa(String.fromCharCode(...new Uint8Array(buffer))).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");

const options = JSON.parse(document.getElementById("passkey-options").textContent).publicKey;
options.challenge = read(options.challenge);
if (options.user) options.user.id = read(options.user.id);
for (const list of ["allowCredentials", "excludeCredentials"]) {
  for (const one of options[list] ?? []) one.id = read(one.id);
}

function plain(found) {
  const told = { id: found.id, rawId: write(found.rawId), type: found.type, response: {}, clientExtensionResults: {} };
  for (const part of ["clientDataJSON", "attestationObject", "authenticatorData", "signature", "userHandle"]) {
    if (found.response[part]) told.response[part] = write(found.response[part]);
  }
  return told;
}

const field = document.querySelector("input[name=passkey]");
const form = field.form;
form.addEventListener("submit", async (event) => {
  if (field.value) return;
  event.preventDefault();
  try {
    const asked = { publicKey: options };
    const found = await (options.user ? navigator.credentials.create(asked) : navigator.credentials.get(asked));
    field.value = JSON.stringify(plain(found));
  } catch (refused) {
    field.value = "null";
  }
  form.submit();
});
