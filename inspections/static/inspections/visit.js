// The page of a visit without reloading and without a network: everything recorded goes into the queue, shows at once,
// and is sent when it can be. Without this script the same forms send themselves.
"use strict";

(async () => {
  const root = document.getElementById("visit");
  if (!root || !window.isSecureContext || !window.indexedDB || !window.crypto.randomUUID) return;
  const $ = (id) => document.getElementById(id);
  const read = (id) => JSON.parse($(id).textContent);
  const hints = read("visit-hints");
  const user = Number(root.dataset.user);
  const visit = root.dataset.visit;
  const add = document.querySelector("#add form");
  const usual = $("add-usual").textContent;
  const keptPages = `visit-pages-${user}`;
  let state = await newest(read("visit-state"));
  let items = [];
  let how = "sending";
  let photos = [];
  let editing = null; // what was refused and is being changed
  let asked = false; // whether to end it all the same
  let schemeChosen = false;

  let queue;
  try {
    queue = await VisitQueue.open(user);
  } catch {
    return; // a private window may refuse; the forms send themselves
  }
  const sender = new VisitSender(queue, { user, visit, stateUrl: root.dataset.state, tell });

  // --- what is shown ------------------------------------------------------------------------------

  async function tell(now, fresh) {
    how = now;
    if (fresh) {
      state = fresh;
      await keep(fresh);
    }
    items = await queue.all();
    show();
  }

  // The kept page is as old as its last loading; the state beside it as its last sending.
  async function newest(held) {
    const kept = await (window.caches && caches.match(root.dataset.state, { cacheName: keptPages }));
    const later = kept && (await kept.json());
    return later && Date.parse(later.at) > Date.parse(held.at) ? later : held;
  }

  async function keep(fresh) {
    if (!window.caches || !(await caches.has(keptPages))) return;
    const { csrf, ...rest } = fresh;
    await (await caches.open(keptPages)).put(root.dataset.state, new Response(JSON.stringify(rest)));
  }

  // What the server has and, on top of it, what it does not have yet.
  function merged() {
    const places = new Map(state.places.map((place) => [place.ref, structuredClone(place)]));
    let ended = state.ended;
    for (const item of items.filter((one) => one.visit === visit && !state.held.includes(one.id))) {
      const place = places.get(item.fields.room ?? "") ?? places.get("");
      if (item.what === "room") {
        if (!places.has(item.id)) places.set(item.id, { ref: item.id, name: item.says, state: "silent", limits: [], found: [] });
      }
      else if (item.what === "end") ended = ended || "not sent yet";
      else if (item.what === "look") looked(place, item.fields);
      else if (item.what === "defect") {
        place.found.push({ key: item.id, title: item.says, code: item.classed, photos: 0, waiting: true });
        place.state = "found";
      } else if (item.what === "photo") {
        const shown = [...places.values()].flatMap((one) => one.found).find((one) => one.key === item.fields.defect);
        if (shown) shown.photos += 1;
      }
    }
    return { places: [...places.values()], ended };
  }

  function looked(place, { look, says }) {
    if (look === "nothing") place.limits = [];
    else place.limits.push(says);
    if (!place.found.length) place.state = look;
  }

  function show() {
    const { places, ended } = merged();
    for (const place of places) showPlace(place);
    const silent = places.filter((place) => place.ref && place.state === "silent");
    if ($("end")) {
      $("end-silent").hidden = !silent.length;
      fill($("end-silent").querySelector("ul"), silent.map((place) => line(place.name)));
    }
    root.classList.toggle("over", Boolean(ended) && ended === "not sent yet");
    showRefused();
    showCount();
    takeEnd();
  }

  function showPlace(place) {
    const section = sectionOf(place);
    if (!section) return;
    const said = section.querySelector(".visit-said");
    const shape = `state-${hints.shape[place.state]}`;
    said.hidden = !place.ref && place.state === "silent";
    said.querySelector(".tag").className = `tag ${shape}`;
    said.querySelector("use").setAttribute("href", `#${shape}`);
    said.querySelector(".tag").lastChild.textContent = hints.said[place.state];
    fill(section.querySelector(".visit-found"), [
      ...place.found.map((one) => found(section, one)),
      ...place.limits.map((says) => line(`${hints.said.not_seen}: ${says}`, "soft")),
    ]);
  }

  function sectionOf(place) {
    const there = root.querySelector(`[data-place="${CSS.escape(place.ref)}"]`);
    const blank = $("blank-room");
    if (there || !blank) return there;
    const section = blank.content.firstElementChild.cloneNode(true);
    const id = `new-${place.ref}`;
    section.id = id;
    section.dataset.place = place.ref;
    section.setAttribute("aria-labelledby", `${id}-h`);
    section.querySelector("h3").id = `${id}-h`;
    section.querySelector("h3").textContent = place.name;
    for (const hidden of section.querySelectorAll(".vh")) hidden.textContent = `: ${place.name}`;
    section.querySelector("[data-add]").dataset.add = place.ref;
    for (const room of section.querySelectorAll("[name=room]")) room.value = place.ref;
    section.querySelector("label").htmlFor = section.querySelector("[name=says]").id = `${id}-why`;
    root.querySelector('[data-place=""]').before(section);
    add.elements.room.append(new Option(place.name, place.ref));
    return section;
  }

  function found(section, one) {
    const old = section.querySelector(`.visit-found [data-key="${CSS.escape(one.key)}"] a`);
    const item = document.createElement("li");
    item.dataset.key = one.key;
    const title = old ? old.cloneNode(true) : document.createElement("strong");
    title.textContent = one.title;
    const more = document.createElement("span");
    more.className = "soft small";
    const shots = one.photos ? `, ${one.photos} photo${one.photos === 1 ? "" : "s"}` : "";
    more.textContent = `${one.code}${shots}${one.waiting ? ", not sent yet" : ""}`;
    item.append(title, " ", more);
    return item;
  }

  function showRefused() {
    const refused = items.filter((item) => item.error);
    $("not-taken").hidden = !refused.length;
    fill($("not-taken").querySelector("ul"), refused.map((item) => {
      const entry = line(`${item.says}: ${item.error}`);
      const row = document.createElement("div");
      row.className = "row";
      if (item.visit !== visit) {
        const link = document.createElement("a");
        link.href = item.url.replace(/record\/$/, "");
        link.textContent = "Open its visit";
        row.append(link);
      } else if (item.what === "defect") row.append(button("Change it", () => change(item)));
      row.append(button("Drop it", () => drop(item)));
      entry.append(row);
      return entry;
    }));
  }

  const WHY = {
    later: "No network, or no answer. It is tried again by itself.",
    "log-in": "You are logged out.",
    other: "Somebody else is logged in. Log in as yourself to send what is yours.",
    gone: "This visit cannot be found with this log-in. What is not sent stays on this phone.",
    sending: "Sending.",
  };

  function showCount() {
    const count = items.length;
    const panel = $("unsent").parentElement;
    panel.hidden = false;
    panel.parentElement.hidden = Boolean(root.dataset.ended) && !count && !sender.late;
    // What was sent last is kept only once the server has been asked again: until then it is not "all sent".
    const all = how === "sending" ? "" : "All sent.";
    const ended = state.ended && !root.dataset.ended ? `${state.ended}: this visit was ended. Finish what you are writing.` : "";
    const text = [count ? `${count} not sent yet.` : all, WHY[how], ended, sender.late].filter(Boolean).join(" ");
    if ($("unsent").textContent !== text) $("unsent").textContent = text;
    $("log-in-again").hidden = !["log-in", "other"].includes(how);
    $("send-now").hidden = !count && how !== "later";
  }

  // Once the end is known to the server, the page is that of a visit that has ended.
  function takeEnd() {
    const busy = add.elements.title.value || photos.length || items.length;
    if (state.ended && !root.dataset.ended && !busy && how === "sent") location.replace(location.pathname);
  }

  // --- what is recorded ---------------------------------------------------------------------------

  function thing(what, fields, more) {
    const key = crypto.randomUUID();
    const room = fields.room && items.some((one) => one.id === fields.room) ? [fields.room] : [];
    return { what, fields, key, id: key, visit, url: root.dataset.record, at: new Date().toISOString(), error: "",
      needs: room, file: null, name: "", ...more };
  }

  async function put(things, removed = []) {
    try {
      await queue.change(things, removed);
    } catch {
      fault("It is not kept: this phone has no room left, or the browser refuses to keep it. Free some room and try again.");
      return false;
    }
    items = await queue.all();
    show();
    sender.send();
    return true;
  }

  const takes = {
    async look(form, said) {
      const fields = { room: said.get("room"), look: said.get("look"), says: said.get("says") ?? "" };
      if (!(await put([thing("look", fields, { says: fields.says || hints.said.nothing })]))) return;
      form.reset();
      const folded = form.closest("details");
      if (folded) {
        folded.open = false;
        folded.querySelector("summary").focus();
      }
    },

    async room(form, said) {
      const level = form.elements.level.selectedOptions[0];
      const use = form.querySelector(`[name=use][value="${CSS.escape(said.get("use"))}"]`).textContent;
      const one = thing("room", { use: said.get("use"), level: said.get("level") });
      one.id = `room-${one.key.replaceAll("-", "")}`;
      one.says = level.value ? `${use}, ${level.textContent.toLowerCase()}` : use;
      if (await put([one])) focus(sectionOf({ ref: one.id }).querySelector("h3"));
    },

    async defect(form, said) {
      const wrong = faultOf(said);
      if (wrong) return fault(wrong);
      const names = ["title", "room", "place", "scheme", "code", "said_by", "certificate", "note"];
      const fields = Object.fromEntries(names.map((name) => [name, said.get(name) ?? ""]));
      const more = { says: fields.title, classed: form.querySelector(`[value="${CSS.escape(fields.code)}"]`).parentElement.textContent.trim() };
      const one = thing("defect", fields, more);
      if (editing) Object.assign(one, { key: editing.key, id: editing.id, n: editing.n, at: editing.at });
      const shots = photos.map((photo) =>
        thing("photo", { defect: one.id }, { ...photo, needs: [one.id], says: `Photo of ‘${fields.title}’` }));
      if (!(await put([one, ...shots]))) return;
      const now = cautions(fields.code, fields.title);
      clear(form, fields);
      if (now.length) warn(fields.title, now);
      else focus((sectionOf({ ref: fields.room }) ?? root).querySelector("h3"));
    },

    async end(form, said) {
      if (items.some((item) => item.error && item.visit === visit)) return focus($("not-taken-h"));
      const silent = merged().places.some((place) => place.ref && place.state === "silent");
      if (silent && !asked) {
        asked = true;
        $("end-ask").hidden = false;
        form.querySelector("[type=submit]").textContent = "Yes, end the visit";
        return;
      }
      const fields = { says: said.get("says"), sure: "1", ...(said.get("all_rooms") && { all_rooms: "1" }) };
      if (await put([thing("end", fields, { says: "End of the visit" })])) focus($("unsent"));
    },
  };

  function faultOf(said) {
    const code = said.get("code") ?? "";
    if (!said.get("title").trim()) return "Say what is wrong.";
    if (!code) return "Choose a class.";
    const note = add.elements.note.value.replaceAll("\n", "\r\n").length, most = Number(add.elements.note.dataset.most);
    if (note > most) return `What else is to be said has ${note} characters, and ${most} can be kept. Shorten it.`;
    const engineer = code.startsWith("igem_g11:") && add.elements.said_by;
    if (engineer && !said.get("said_by").trim() && !said.get("certificate")) {
      return "Only a registered gas engineer classes a gas defect. Say who did, or choose the suspected gas defect.";
    }
    return "";
  }

  function fault(text) {
    $("add-fault").textContent = text;
    $("add-fault").hidden = !text;
    if (text) $("add-fault").scrollIntoView({ block: "center" });
  }

  function clear(form, { scheme, room }) {
    form.reset();
    form.elements.scheme.value = scheme;
    form.elements.room.value = room;
    for (const code of form.querySelectorAll("[name=code]")) code.checked = false;
    photos = [];
    editing = null;
    asked = schemeChosen = false;
    $("add-usual").textContent = usual;
    showPhotos();
    fault("");
    if (!$("end")) $("add").hidden = true;
  }

  function change(item) {
    editing = item;
    $("add").hidden = false;
    for (const [name, value] of Object.entries(item.fields)) {
      if (name !== "code" && add.elements[name]) add.elements[name].value = value;
    }
    for (const code of add.querySelectorAll("[name=code]")) code.checked = code.value === item.fields.code;
    fault(item.error);
    focus(add.elements.title);
  }

  async function drop(item) {
    if (!confirm(`Drop ‘${item.says}’? It was never sent, so it is lost then${item.what === "defect" ? ", with its photos" : ""}.`)) return;
    const needing = items.filter((one) => one.needs.includes(item.id));
    if (item.what === "room") {
      const homeless = needing.map((one) => ({ ...one, needs: [], fields: { ...one.fields, room: "" } }));
      await put(homeless.filter((one) => one.what === "defect"), [item, ...needing.filter((one) => one.what !== "defect")]);
      location.reload();
    } else await put([], [item, ...needing]);
    if (editing?.n === item.n) clear(add, item.fields);
  }

  // --- the form of a defect -------------------------------------------------------------------------

  const typicalOf = (title) => hints.typical[title.trim().replace(/\s+/g, " ").toLowerCase()];

  // What to do now, also where there is no network to ask.
  function cautions(code, title) {
    const [id, , trade] = typicalOf(title) ?? ["", "", ""];
    const own = code.startsWith("gas:") || code.startsWith("igem_g11:") ? "" : trade;
    const numbers = new Set([...(hints.of_class[code]?.[own] ?? []), ...(hints.of_typical[id] ?? [])]);
    return [...numbers].sort((a, b) => a - b).map((number) => hints.sentences[number]);
  }

  function warn(title, sentences) {
    $("now").hidden = false;
    $("now-h").textContent = `What to do now: ${title}`;
    fill($("now").querySelector("ul"), sentences.map((says) => line(says)));
    focus($("now-h"));
  }

  function suggest() {
    const known = typicalOf(add.elements.title.value);
    $("add-usual").textContent = known ? known[3] : usual;
    if (known && !schemeChosen && !add.querySelector("[name=code]:checked")) add.elements.scheme.value = known[1];
  }

  // Copied at once: the file of a camera may be gone by the time it is sent.
  async function takePhotos(input) {
    try {
      for (const file of input.files) {
        photos.push({ file: new Blob([await file.arrayBuffer()], { type: file.type }), name: file.name });
      }
    } catch {
      fault("The photo could not be read. Take it again.");
    }
    input.value = "";
    showPhotos();
  }

  function showPhotos() {
    const box = $("add-photos");
    box.hidden = !photos.length;
    box.textContent = photos.length ? `${photos.length} photo${photos.length === 1 ? "" : "s"} taken. ` : "";
    if (photos.length) box.append(button("Take off the last one", () => { photos.pop(); showPhotos(); }));
  }

  // --- small helps ----------------------------------------------------------------------------------

  const fill = (list, entries) => list.replaceChildren(...entries);

  function line(text, name = "") {
    const item = document.createElement("li");
    item.className = name;
    item.textContent = text;
    return item;
  }

  function notice(text) {
    const says = document.createElement("p");
    says.className = "notice";
    says.textContent = text;
    $("not-taken").before(says);
  }

  function button(text, press) {
    const made = document.createElement("button");
    Object.assign(made, { type: "button", className: "button quiet", textContent: text, onclick: press });
    return made;
  }

  function focus(element) {
    if (!element.matches("a, button, input, select, textarea")) element.tabIndex = -1;
    element.focus();
    element.scrollIntoView({ block: "center" });
  }

  // --- beginning --------------------------------------------------------------------------------------

  root.addEventListener("submit", (event) => {
    const what = event.target.elements.what?.value;
    if (!takes[what]) return;
    event.preventDefault();
    takes[what](event.target, new FormData(event.target, event.submitter));
  });
  root.addEventListener("click", (event) => {
    const link = event.target.closest("[data-add]");
    if (!link) return;
    event.preventDefault();
    if (link.dataset.add || !add.elements.title.value) add.elements.room.value = link.dataset.add;
    focus(add.elements.photo);
    $("add").scrollIntoView();
  });
  add.addEventListener("change", (event) => {
    if (event.target.type === "file") takePhotos(event.target);
    if (event.target.name === "scheme") {
      schemeChosen = true;
      for (const code of add.querySelectorAll("[name=code]")) code.checked = false;
    }
  });
  add.elements.title.addEventListener("input", suggest);
  $("send-now").addEventListener("click", () => sender.send());
  document.querySelector("form[action$='/account/logout/']")?.addEventListener("submit", (event) => {
    const says = `${items.length} not sent yet. They stay on this phone until you log in here again. Log out?`;
    if (items.length && !confirm(says)) event.preventDefault();
  });

  items = await queue.all();
  show();
  navigator.storage?.persist?.();
  const others = await VisitQueue.ofOthers(user);
  if (others) {
    notice(`Somebody else recorded ${others} thing${others === 1 ? "" : "s"} with this browser that are not sent yet. They are sent when that person logs in here.`);
  }
  sender.start();

  // Keeps this page and what it is made of, so that it opens without a network.
  try {
    const workers = navigator.serviceWorker;
    const page = workers.controller ? null : location.pathname;
    await workers.register(root.dataset.worker, { scope: "/" });
    const { active } = await workers.ready;
    const loaded = performance.getEntriesByType("resource").map((entry) => entry.name);
    active.postMessage({ page, files: loaded.filter((url) => new URL(url).pathname.startsWith("/static/")) });
  } catch {
    notice("This browser does not keep this page. Where there is no network, leave it open: what you record is kept.");
  }
})();
