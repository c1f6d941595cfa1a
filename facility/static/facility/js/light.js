// The light changes at once; the server is told beside, so that nothing half entered is lost.
export function light() {
  const form = document.querySelector("form[data-light]");
  if (!form) return;
  form.addEventListener("submit", async (event) => {
    const button = event.submitter;
    if (!button || button.name !== "light") return;
    event.preventDefault();
    document.documentElement.dataset.mode = button.value;
    for (const other of form.querySelectorAll("button")) {
      other.setAttribute("aria-pressed", String(other === button));
    }
    const body = new FormData(form);
    body.set("light", button.value);
    try {
      await fetch(form.action, { method: "POST", body, redirect: "manual" });
    } catch {
      // Without the box the light holds for this page only.
    }
  });
}
