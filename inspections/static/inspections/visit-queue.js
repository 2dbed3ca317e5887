// What is recorded on a visit waits here until the server has it, also while the browser is closed. Each person has a
// queue of their own, known by the number of their log-in; nobody else's is ever sent or shown.
"use strict";

(() => {
  const NAME = "sneck-visits-";
  const STORE = "queue";
  const LONGEST = 60; // seconds between two tries
  const ANSWER = 15000, SENDING = 300000; // milliseconds of patience: for the state, and for a large photo

  const done = (request) =>
    new Promise((resolve, reject) => {
      request.onsuccess = () => resolve(request.result);
      request.onerror = () => reject(request.error);
    });

  class VisitQueue {
    static async open(user) {
      const opening = indexedDB.open(NAME + user, 1);
      opening.onupgradeneeded = () => opening.result.createObjectStore(STORE, { keyPath: "n", autoIncrement: true });
      const queue = new VisitQueue();
      queue.db = await done(opening);
      queue.db.onversionchange = () => queue.db.close();
      return queue;
    }

    // How many things of other people wait in this browser.
    static async ofOthers(user) {
      if (!indexedDB.databases) return 0;
      let count = 0;
      for (const { name } of await indexedDB.databases()) {
        if (!name.startsWith(NAME) || name === NAME + user) continue;
        const other = await VisitQueue.open(name.slice(NAME.length));
        count += (await other.all()).length;
        other.db.close();
      }
      return count;
    }

    all() {
      return done(this.db.transaction(STORE).objectStore(STORE).getAll());
    }

    // All of them or none; resolves when they are safe.
    change(put, remove = []) {
      return new Promise((resolve, reject) => {
        const transaction = this.db.transaction(STORE, "readwrite", { durability: "strict" });
        for (const item of put) transaction.objectStore(STORE).put(item);
        for (const item of remove) transaction.objectStore(STORE).delete(item.n);
        transaction.oncomplete = resolve;
        transaction.onabort = transaction.onerror = () => reject(transaction.error);
      });
    }
  }

  class Halt extends Error {}

  // Sends what waits, in order and one at a time. `tell(how, state)` is called whenever anything changed; `how` is
  // "sent", "sending", "later", "log-in", "other" or "gone".
  class VisitSender {
    constructor(queue, { user, visit, stateUrl, tell }) {
      Object.assign(this, { queue, user, visit, stateUrl, tell, tries: 0, busy: false, again: false, timer: 0 });
    }

    start() {
      addEventListener("online", () => this.send());
      addEventListener("pageshow", (event) => event.persisted && this.send());
      document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && this.send());
      setInterval(() => document.visibilityState === "visible" && this.tries === 0 && this.send(), LONGEST * 500);
      return this.send();
    }

    // At once, and then again and again in ever longer steps until the server has everything.
    send() {
      this.tries = 0;
      return this.go();
    }

    async go() {
      if (this.busy) return void (this.again = true);
      this.busy = true;
      clearTimeout(this.timer);
      try {
        do {
          this.again = false;
          await this.alone(() => this.round());
        } while (this.again);
      } finally {
        this.busy = false;
      }
    }

    // Two windows of one browser take turns. The server would take a thing once all the same.
    alone(work) {
      return navigator.locks ? navigator.locks.request(NAME + this.user, work) : work();
    }

    async round() {
      try {
        let state = await this.ask();
        if (await this.each(state)) state = await this.ask();
        this.tries = 0;
        this.tell("sent", state);
      } catch (problem) {
        if (!(problem instanceof Halt)) throw problem;
        if (problem.message === "later") {
          this.tries += 1;
          this.timer = setTimeout(() => this.go(), 1000 * Math.min(LONGEST, 2 ** this.tries));
        }
        this.tell(problem.message, null);
      }
    }

    async ask() {
      const answer = await this.fetch(this.stateUrl, { cache: "no-store" }, ANSWER);
      if (answer.status === 404) throw new Halt("gone");
      if (!answer.ok) throw new Halt("later");
      const state = await answer.json().catch(() => { throw new Halt("later"); });
      if (state.user !== this.user) throw new Halt("other");
      return state;
    }

    // Was anything sent? Something that was refused waits for its cure, and whatever needs it waits too.
    async each(state) {
      let sent = false;
      for (const item of await this.queue.all()) {
        const waiting = await this.queue.all();
        const now = waiting.find((one) => one.n === item.n);
        if (!now || now.error || this.blocked(now, waiting)) continue;
        if (!state.held.includes(now.id) && !(await this.post(now, state.csrf))) continue;
        await this.queue.change([], [now]);
        sent = true;
        this.tell("sending", null);
      }
      return sent;
    }

    blocked(item, waiting) {
      const others = waiting.filter((one) => one.n !== item.n && one.visit === item.visit);
      return item.what === "end" ? others.length > 0 : others.some((one) => item.needs.includes(one.id));
    }

    async post(item, csrf) {
      const body = new FormData();
      const said = { ...item.fields, what: item.what, key: item.key, at: item.at };
      for (const [name, value] of Object.entries(said)) body.append(name, value);
      if (item.file) body.append("photo", item.file, item.name);
      const answer = await this.fetch(item.url, { method: "POST", body, headers: { "X-CSRFToken": csrf } }, SENDING);
      if (answer.ok) {
        const { late } = await answer.json().catch(() => { throw new Halt("later"); });
        if (late) this.late = late;
        return true;
      }
      if ([403, 408, 429].includes(answer.status) || answer.status >= 500) throw new Halt("later");
      const { error } = await answer.json().catch(() => ({}));
      item.error = error || "It cannot be found or may not be changed with this log-in.";
      await this.queue.change([item]);
      this.tell("sending", null);
      return false;
    }

    async fetch(url, options, patience) {
      let answer;
      try {
        answer = await fetch(url, {
          ...options, redirect: "manual", credentials: "same-origin", signal: AbortSignal.timeout(patience),
          headers: { Accept: "application/json", ...options.headers },
        });
      } catch {
        throw new Halt("later");
      }
      if (answer.type === "opaqueredirect" || answer.status === 401) throw new Halt("log-in");
      return answer;
    }
  }

  window.VisitQueue = VisitQueue;
  window.VisitSender = VisitSender;
})();
