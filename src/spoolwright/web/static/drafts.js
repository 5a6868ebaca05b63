// Forms keep what was typed: in this browser, per form, until the server has it.
//
// While somebody types, the form's values lie in localStorage. After a reload they are offered again. A form that
// cannot be sent for lack of network stays on the page with what was typed, and one tap sends it again; the server
// counts a form once, however often it arrives. Passwords and files are never stored.
"use strict";

(() => {
  const DAYS = 14;
  const AGE = DAYS * 86_400_000;
  const OWN = new Set(["form_token", "form_id", "form_key", "here", "after", "shown", "meaning", "username"]);
  const lately = new WeakMap(); // forms that were touched on this page

  const wanted = (form) => form.method === "post" && !("noDraft" in form.dataset);
  const nameOf = (form) => form.elements.form_id?.value || form.id;
  const keyOf = (form) => `draft ${new URL(form.action).pathname} ${nameOf(form)}`;

  function values(form) {
    const out = [];
    for (const field of form.elements) {
      if (!field.name || OWN.has(field.name) || ["password", "file", "submit", "button", "fieldset"].includes(field.type)) continue;
      if (["checkbox", "radio"].includes(field.type) && !field.checked) continue;
      out.push([field.name, field.value]);
    }
    return out;
  }

  function store(form, kept) {
    try { localStorage.setItem(keyOf(form), JSON.stringify(kept)); } catch { /* full or switched off: the page still holds it */ }
  }

  function read(form) {
    try { return JSON.parse(localStorage.getItem(keyOf(form))); } catch { return null; }
  }

  function forget(form) {
    try { localStorage.removeItem(keyOf(form)); } catch { /* nothing was kept then */ }
  }

  function save(form) {
    lately.set(form, true);
    store(form, { at: Date.now(), after: form.elements.after?.value, values: values(form) });
  }

  function fill(form, kept) {
    const left = new Map();
    for (const [name, value] of kept) left.set(name, [...(left.get(name) ?? []), value]);
    for (const field of form.elements) {
      if (!field.name || OWN.has(field.name)) continue;
      const mine = left.get(field.name);
      if (["checkbox", "radio"].includes(field.type)) field.checked = mine?.includes(field.value) ?? false;
      else if (mine && !["password", "file", "submit", "button"].includes(field.type)) field.value = mine.shift() ?? "";
    }
    form.dispatchEvent(new CustomEvent("draft-filled", { bubbles: true }));
  }

  function note(form, sentence, buttons) {
    form.querySelector(":scope > .draft")?.remove();
    const box = document.createElement("div");
    box.className = "draft";
    box.setAttribute("role", "status");
    const words = document.createElement("p");
    words.textContent = sentence;
    const ways = document.createElement("p");
    ways.className = "ways";
    for (const [word, act, main] of buttons) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = word;
      if (main) button.className = "main";
      button.addEventListener("click", () => act(box));
      ways.append(button);
    }
    box.append(words, ways);
    form.prepend(box);
    return box;
  }

  const when = (at) => new Date(at).toLocaleString("en-GB", { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });

  function offer(form) {
    const kept = read(form);
    if (!kept) return;
    const same = JSON.stringify(kept.values) === JSON.stringify(values(form));
    if (same || Date.now() - kept.at > AGE) { forget(form); return; }
    if (form.querySelector(".mistake")) return; // shown again by the server with what was typed
    const since = kept.after === form.elements.after?.value ? "" : " Since then somebody else recorded here: compare before you send.";
    note(form, `Typed here on ${when(kept.at)} and not sent.${since}`, [
      ["Take it up again", (box) => { fill(form, kept.values); box.remove(); save(form); }, true],
      ["Discard it", (box) => { forget(form); box.remove(); }, false],
    ]);
  }

  function show(text, address) {
    const next = new DOMParser().parseFromString(text, "text/html");
    document.title = next.title;
    document.querySelector("main").replaceWith(document.adoptNode(next.querySelector("main")));
    if (address) history.replaceState(null, "", address);
    window.htmx?.process(document.querySelector("main"));
    document.querySelector(".conflict, .mistake")?.scrollIntoView({ block: "center" });
    document.querySelector("main .mistake[tabindex], main")?.focus({ preventScroll: true });
  }

  async function send(form, button) {
    const data = new FormData(form, button);
    const busy = [...form.querySelectorAll("button")].filter((b) => !b.disabled);
    for (const b of busy) b.disabled = true;
    save(form);
    try {
      const answer = await fetch(form.action, { method: "POST", body: data, headers: { "X-Form": "fetch" } });
      const on = answer.headers.get("Go-To");
      if (on) {
        forget(form);
        if (new URL(on, location).pathname + new URL(on, location).search === location.pathname + location.search) location.reload();
        else location.assign(on);
        return;
      }
      if (answer.status === 401) {
        note(form, "Your session has ended. What you typed is kept: sign in and come back here.", [
          ["Sign in", () => location.assign(`/sign-in?next=${encodeURIComponent(location.pathname + location.search)}`), true],
        ]);
        return;
      }
      const type = answer.headers.get("Content-Type") ?? "";
      if (type.startsWith("text/html")) show(await answer.text());
      else note(form, await answer.text(), [["Send again", () => send(form, button), true]]);
    } catch {
      note(form, "No connection: this is not recorded yet. What you typed is kept on this device.", [
        ["Send again", () => send(form, button), true],
      ]).scrollIntoView({ block: "nearest" });
    } finally {
      for (const b of busy) b.disabled = false;
    }
  }

  document.addEventListener("input", (event) => {
    const form = event.target.form;
    if (form && wanted(form) && event.target.type !== "password") save(form);
  });
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (event.defaultPrevented || !wanted(form) || [...form.attributes].some((a) => a.name.startsWith("hx-"))) return;
    event.preventDefault();
    send(form, event.submitter);
  });
  addEventListener("DOMContentLoaded", () => {
    for (const form of document.forms) if (wanted(form)) offer(form);
  });
})();
