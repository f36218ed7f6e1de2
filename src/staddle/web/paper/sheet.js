// The one module of the pages. Without it everything works too: a page is then looked at again by loading it.
// 1. Parts of a page that change are fetched anew when the server says so. 2. Values are copied. Nothing else.

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
