/* Only helps: puts the cursor where a reading goes, keeps the screen on, sends a form again while the machine is away.
   Every page works without it. */
"use strict";

(() => {
  const field = document.querySelector("[data-focus]");
  if (field) field.focus({ preventScroll: true });

  // times as this device's own clock has them
  for (const one of document.querySelectorAll("time[datetime]")) {
    const at = new Date(one.dateTime);
    if (!Number.isNaN(at.getTime())) one.textContent = at.toLocaleString([], { dateStyle: "medium", timeStyle: "short" });
  }

  // the screen stays on while a job is in view; browsers allow that on this machine itself or over https only
  const awake = async () => {
    if (!document.body.hasAttribute("data-job") || document.visibilityState !== "visible") return;
    try { await navigator.wakeLock?.request("screen"); } catch { /* refused: the screen dims as ever */ }
  };
  document.addEventListener("visibilitychange", awake);
  awake();

  let bar = null;
  const say = (text) => {
    if (!text) { bar?.remove(); bar = null; return; }
    if (!bar) {
      bar = document.createElement("p");
      bar.className = "away";
      bar.setAttribute("role", "status");
      document.body.append(bar);
    }
    bar.textContent = text;
  };
  const pause = (ms) => new Promise((go) => setTimeout(go, ms));

  // a form may be sent again and again: the machine counts it once
  let sending = false;
  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (form.method !== "post") return;
    const button = event.submitter;
    let body;
    try { body = new URLSearchParams(new FormData(form, button)); } catch { return; /* an older browser sends it itself */ }
    event.preventDefault();
    if (sending) return;
    sending = true;
    for (let tries = 0; ; tries += 1) {
      try {
        const answer = await fetch(form.action, { method: "POST", body, redirect: "manual", cache: "no-store" });
        if (answer.type === "opaqueredirect") { await reached(form, body); return; }
        break; // refused in words: send it as a plain form, so that the page with the words is shown
      } catch {
        say("The machine is away. Your answer is sent as soon as it is back; leave this page open.");
        await pause(Math.min(1000 + 500 * tries, 5000));
      }
    }
    if (button && button.name) {
      const chosen = document.createElement("input");
      chosen.type = "hidden"; chosen.name = button.name; chosen.value = button.value;
      form.append(chosen);
    }
    form.submit();
  });

  // where the answer led to: the job, or the steps of a remedy after its caution was read
  const reached = async (form, body) => {
    const act = body.get("act");
    const job = new URL(form.action).pathname.split("/").slice(0, 3).join("/");
    const to = act === "read" ? `${job}/remedy/${body.get("remedy")}` : act === "close" ? "/" : job;
    if (new URL(form.action).pathname === "/begin") { form.submit(); return; }
    location.replace(to);
  };
  window.addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
})();
