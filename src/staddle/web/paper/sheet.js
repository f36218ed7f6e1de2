// The one module of the pages. Without it everything works too: a page is then looked at again by loading it.
// 1. Parts of a page that change are fetched anew when the server says so. 2. Values are copied. 3. Questions of the plan are
// asked without leaving it, and a member may be dragged onto a host. Nothing else.

const copyButtons = (root) => {
  for (const button of root.querySelectorAll("[data-copy]")) button.hidden = !navigator.clipboard;
};

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-copy]");
  const source = button && document.getElementById(button.dataset.copy);
  if (!source) return;
  const word = button.textContent;
  try {
    await navigator.clipboard.writeText(source.textContent.trim());
    button.textContent = "copied";
  } catch {
    button.textContent = "not copied";
  }
  setTimeout(() => { button.textContent = word; }, 1500);
});

// A part is replaced only when the server's text of it has changed, so that what is being typed into another one stays.
const texts = new Map();
const partsOf = (root) => [...root.querySelectorAll("[data-part]")];
const remember = (root) => { for (const part of partsOf(root)) texts.set(part.dataset.part, part.outerHTML); };

// Held parts (a secret that was shown) change only when they were asked for, not when something else happened.
const replaceParts = (fresh, { asked }) => {
  const focused = document.activeElement?.id;
  const news = new Map(partsOf(fresh).map((part) => [part.dataset.part, part]));
  const newTexts = new Map([...news].map(([key, part]) => [key, part.outerHTML]));
  for (const old of partsOf(document)) {
    const key = old.dataset.part;
    const part = news.get(key);
    if (!part || texts.get(key) === newTexts.get(key)) continue;
    if (old.dataset.hold !== undefined && !asked) continue;
    texts.set(key, newTexts.get(key));
    if (old.dataset.keyed === undefined) old.replaceWith(document.adoptNode(part));
    else keepKeyed(old, part);
  }
  for (const part of partsOf(document)) if (!texts.has(part.dataset.part)) texts.set(part.dataset.part, part.outerHTML);
  copyButtons(document);
  if (focused && document.activeElement === document.body) document.getElementById(focused)?.focus();
};

// A list of cards: those that are gone go, new ones come, those that stayed are left alone with what is typed in them.
const keepKeyed = (old, part) => {
  const there = new Map([...old.children].map((child) => [child.id, child]));
  const wanted = [...part.children].map((child) => there.get(child.id) ?? document.adoptNode(child));
  for (const child of [...old.children]) if (!wanted.includes(child)) child.remove();
  for (const child of wanted) if (!child.isConnected) old.append(child);
};

const parsed = async (reply) => new DOMParser().parseFromString(await reply.text(), "text/html");

const source = document.querySelector("[data-live]");
remember(document);
copyButtons(document);
if (source) {
  let fetching = false;
  let again = false;
  const look = async () => {
    if (fetching) { again = true; return; }
    fetching = true;
    try {
      const reply = await fetch(source.dataset.page);
      if (reply.ok) replaceParts(await parsed(reply), { asked: false });
    } catch { /* the server is gone for now: EventSource tries again by itself */ }
    fetching = false;
    if (again) { again = false; look(); }
  };
  const line = document.querySelector("[data-line]");
  const events = new EventSource(source.dataset.live);
  events.addEventListener("message", () => { line.hidden = true; look(); });
  events.addEventListener("error", () => { line.hidden = false; });

  // A form of a live page is sent without leaving it: another card may be half typed.
  source.addEventListener("submit", async (event) => {
    event.preventDefault();
    const button = event.submitter;
    const body = new URLSearchParams(new FormData(event.target));
    if (button) button.disabled = true;
    try {
      const reply = await fetch(button?.getAttribute("formaction") ?? event.target.getAttribute("action"), { method: "POST", body });
      replaceParts(await parsed(reply), { asked: true });
    } catch { line.hidden = false; }
    if (button) button.disabled = false;
  });
}

// A question of a sheet that answers in its place: the address changes, the page stays where it is.
const ask = async (address, { back }) => {
  try {
    const reply = await fetch(address);
    const fresh = await parsed(reply);
    if (!fresh.querySelector("[data-inplace]")) { location.assign(address); return; }
    replaceParts(fresh, { asked: true });
    if (!back) history.pushState(null, "", address);
    if (source) source.dataset.page = address;
    const place = new URL(address, location.href).hash.slice(1);
    if (place) document.getElementById(place)?.scrollIntoView({ block: "nearest" });
  } catch { location.assign(address); }
};

let carriedJustNow = false;
document.addEventListener("click", (event) => {
  const link = event.target.closest("[data-inplace] a[href]");
  if (!link || event.defaultPrevented || event.button || event.metaKey || event.ctrlKey || event.shiftKey || event.altKey) return;
  const address = link.getAttribute("href");
  if (carriedJustNow) { carriedJustNow = false; event.preventDefault(); return; }
  if (new URL(address, location.href).pathname !== location.pathname) return;
  event.preventDefault();
  ask(address, { back: false });
});

const addressOf = (form, changes = {}) => {
  const query = new URLSearchParams();
  for (const [name, value] of Object.entries({ ...Object.fromEntries(new FormData(form)), ...changes })) if (value) query.set(name, value);
  const [path, place] = form.getAttribute("action").split("#");
  return `${path}?${query}${place ? `#${place}` : ""}`;
};

document.addEventListener("submit", (event) => {
  const form = event.target.closest("[data-inplace] form");
  if (!form || form.method !== "get") return;
  event.preventDefault();
  ask(addressOf(form), { back: false });
});

addEventListener("popstate", () => { if (document.querySelector("[data-inplace]")) ask(location.pathname + location.search, { back: true }); });

// A stone is taken with the pointer and set down on a host. The same is asked by the form beside it, with the keyboard.
let taken = null;
const hostAt = (event) => document.elementsFromPoint(event.clientX, event.clientY).map((one) => one.closest("[data-host]")).find(Boolean);
const setDown = () => {
  for (const one of document.querySelectorAll(".plan .target")) one.classList.remove("target");
  document.querySelector(".plan.carrying")?.classList.remove("carrying");
};

document.addEventListener("dragstart", (event) => { if (event.target.closest?.(".plan a")) event.preventDefault(); });
document.addEventListener("pointerdown", (event) => {
  const stone = event.button ? null : event.target.closest("[data-inplace] [data-member]");
  taken = stone && { member: stone.dataset.member, x: event.clientX, y: event.clientY, moving: false };
  carriedJustNow = false;
});
document.addEventListener("pointermove", (event) => {
  if (!taken) return;
  taken.moving ||= Math.hypot(event.clientX - taken.x, event.clientY - taken.y) > 6;
  if (!taken.moving) return;
  setDown();
  document.querySelector(".plan")?.classList.add("carrying");
  hostAt(event)?.classList.add("target");
});
document.addEventListener("pointercancel", () => { taken = null; setDown(); });
document.addEventListener("pointerup", (event) => {
  const was = taken;
  taken = null;
  setDown();
  if (!was?.moving) return;
  carriedJustNow = event.target.closest?.("a") !== null;
  const host = hostAt(event)?.dataset.host;
  const form = document.querySelector("[data-inplace] form[data-move]");
  if (host && form) ask(`${addressOf(form, { member: was.member, host })}#price`, { back: false });
});
