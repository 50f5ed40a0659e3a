// The form of one visit: keeps every entry at once, doubts what is implausible, writes the CSV. Needs no network.
"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const store = `asfound visit ${data.visit}`;
  const fields = [...document.querySelectorAll("[data-key]")];
  const byKey = new Map(fields.map((field) => [field.dataset.key, field]));
  const shownKeys = [...document.querySelectorAll("[data-shows]")].map((button) => button.dataset.shows);
  const byId = (id) => document.getElementById(id);
  // Times of a visit are the facility's, whatever zone the phone is set to; "sv" writes YYYY-MM-DD HH:MM.
  const inZone = new Intl.DateTimeFormat("sv", { timeZone: data.zone, dateStyle: "short", timeStyle: "short" });
  const today = () => inZone.format(new Date()).slice(0, 10);
  const clock = () => inZone.format(new Date()).slice(11, 16);
  const value = (key) => (byKey.has(key) ? byKey.get(key).value.trim() : "");

  // ---- Keeping ------------------------------------------------------------------------------------------------

  let storage = null;
  try {
    localStorage.setItem(`${store} trial`, "1");
    localStorage.removeItem(`${store} trial`);
    storage = localStorage;
  } catch {
    byId("no-storage").hidden = false;
  }

  function keep() {
    const entries = {};
    for (const field of fields) {
      if (field.value !== (field.dataset.default ?? "")) entries[field.dataset.key] = field.value;
    }
    const shown = shownKeys.filter((key) => !byId(key).hidden);
    const saved = byId("saved");
    try {
      if (storage === null) throw new Error("no storage");
      storage.setItem(store, JSON.stringify({ entries, shown, at: clock() }));
      saved.textContent = `saved ${clock()}`;
      saved.classList.remove("not");
    } catch {
      saved.textContent = "not saved";
      saved.classList.add("not");
      byId("no-storage").hidden = false;
    }
  }

  function restore() {
    for (const field of fields) field.value = field.dataset.default ?? "";
    let kept = null;
    try {
      kept = JSON.parse(storage?.getItem(store) ?? "null");
    } catch {
      kept = null;
    }
    if (!kept) return;
    for (const [key, entry] of Object.entries(kept.entries ?? {})) {
      if (byKey.has(key)) byKey.get(key).value = entry;
    }
    for (const key of kept.shown ?? []) show(key);
    byId("saved").textContent = `saved ${kept.at}`;
  }

  function show(key) {
    const button = document.querySelector(`[data-shows="${key}"]`);
    if (!button) return;
    byId(key).hidden = false;
    button.setAttribute("aria-expanded", "true");
    button.hidden = true;
  }

  // ---- Doubting -----------------------------------------------------------------------------------------------

  // A number as it is typed on any keyboard: a decimal comma is read as a point, a true minus as a hyphen.
  const plain = (text) => text.trim().replace("\u2212", "-").replace(",", ".");
  const isNumber = (text) => /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain(text));

  function doubt(field) {
    const said = byId(`${field.id}.doubt`);
    if (!said) return;
    const text = field.value.trim();
    const { lowest, highest, near, unit } = field.dataset;
    let why = "";
    if (text !== "" && !isNumber(text)) why = "not a number";
    else if (text !== "") {
      const number = Number(plain(text));
      const [low, high] = near ? near.split(" ").map(Number) : [-Infinity, Infinity];
      if (lowest !== "" && number < Number(lowest)) why = `below ${lowest} ${unit}: right unit?`;
      else if (highest !== "" && number > Number(highest)) why = `above ${highest} ${unit}: right unit?`;
      else if (number < low || number > high) why = "far from what is to be dialled";
    }
    if (said.textContent !== why) said.textContent = why;
    field.classList.toggle("doubted", why !== "");
    field.setAttribute("aria-invalid", String(why !== ""));
  }

  // ---- The CSV ------------------------------------------------------------------------------------------------

  const entry = (key, header) => {
    const text = value(`${key}.${header}`);
    return isNumber(text) ? plain(text) : text;
  };

  function takeInto(row, key, headers) {
    for (const header of headers) {
      const text = entry(key, header);
      if (text !== "") row[header] = text;
    }
  }

  const anyOf = (key, headers) => headers.some((header) => value(`${key}.${header}`) !== "");

  // Every row that holds something, in the order of the sheet; `tell` is called with what is missing.
  function rows(tell) {
    const all = [];
    const seen = new Set();
    const day = value("day") || data.day;
    const technician = value("technician");
    const when = (time) => (time ? `${day} ${time}` : "");
    const begin = (part, phase, time) => ({ sensor: part.id, time: when(time), phase, technician });
    const seenAs = (row, session, part) => {
      if (seen.has(part.id)) return;
      seen.add(part.id);
      row.serial = value(`${session.key}.${part.id}.serial`);
      row.condition = value(`${session.key}.${part.id}.condition`);
    };
    for (const session of data.sessions) {
      for (const phase of ["as_found", "as_left"]) {
        if (phase === "as_left" && byId(`${session.key}.as_left`).hidden) continue;
        if (phase === "as_left") {
          for (const part of session.parts) {
            const key = `${session.key}.adjusted.${part.id}`;
            const adjustment = value(`${key}.adjustment`);
            if (adjustment === "") continue;
            const time = value(`${key}.time`);
            if (!time) tell(`${part.id}, adjusted: the time is missing`);
            all.push({
              ...begin(part, "adjusted", time), adjustment, from: value(`${key}.from`), to: value(`${key}.to`),
            });
          }
        }
        session.points.forEach((point, at) => {
          const step = `${session.key}.${phase}.${at}`;
          const place = `${phase.replace("_", " ")}, ${point.target} %RH`;
          const started = new Set();
          let roomTold = false;
          for (let n = 0; n < session.readings; n += 1) {
            const reading = `${step}.${n}`;
            const time = value(`${reading}.time`);
            const read = session.parts.filter((part) => anyOf(`${reading}.${part.id}`, part.boxes));
            const shared = anyOf(reading, session.reference);
            if (read.length === 0 && shared) tell(`${place}, reading ${n + 1}: no sensor was read`);
            if (read.length > 0 && !time) tell(`${place}, reading ${n + 1}: the time is missing`);
            if (read.length > 0 && session.reference.some((header) => value(`${reading}.${header}`) === "")) {
              tell(`${place}, reading ${n + 1}: a value of the reference is missing`);
            }
            read.forEach((part, number) => {
              const row = { ...begin(part, phase, time), ...point.words };
              row.loop_meter = value(`${session.key}.${part.id}.loop_meter`);
              row.barometer = value(`${session.key}.barometer`);
              row["target [%RH]"] = point.target;
              seenAs(row, session, part);
              takeInto(row, `${reading}.${part.id}`, part.boxes);
              if (!started.has(part.id)) row["soak [min]"] = entry(step, "soak");
              started.add(part.id);
              if (number === 0) {
                takeInto(row, reading, session.reference);
                row.note = value(`${reading}.note`);
                if (!roomTold) takeInto(row, step, session.room);
                roomTold = true;
              }
              all.push(row);
            });
          }
          for (const part of session.parts) {
            const why = value(`${step}.not_done.${part.id}`);
            if (why === "") continue;
            if (started.has(part.id)) {
              tell(`${place}: ${part.id} has readings, and a reason why it has none`);
              continue;
            }
            const row = { ...begin(part, phase, notDoneTime(step, session)), note: why };
            row["target [%RH]"] = point.target;
            all.push(row);
          }
          if (phase === "as_found") {
            for (const part of session.parts) {
              if (!started.has(part.id) && value(`${step}.not_done.${part.id}`) === "") {
                tell(`${place}: nothing is entered for ${part.id}`);
              }
            }
          }
        });
      }
    }
    if (day !== today()) tell(`the day is ${day}, today is ${today()}`);
    if (technician === "") tell("the technician is missing");
    return all;
  }

  // The first time that stands at the point: where nothing was read, when the reason was typed (`stamp`).
  function notDoneTime(step, session) {
    for (let n = 0; n < session.readings; n += 1) {
      if (value(`${step}.${n}.time`)) return value(`${step}.${n}.time`);
    }
    return "";
  }

  const fileName = () => `${value("day") || data.day}${data.visit.slice(10)}.csv`;

  const quoted = (text) => (/[",\n\r]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);

  function csv(tell = () => {}) {
    const all = rows(tell);
    const used = data.columns.filter(
      (name) => !data.spare.includes(name) || all.some((row) => (row[name] ?? "") !== ""),
    );
    const lines = [used, ...all.map((row) => used.map((name) => row[name] ?? ""))];
    return lines.map((line) => `${line.map(quoted).join(",")}\n`).join("");
  }

  // ---- Showing ------------------------------------------------------------------------------------------------

  function refresh() {
    const day = value("day");
    byId("day.doubt").textContent = day === today() ? "" : `today is ${today()}`;
    for (const session of data.sessions) {
      for (const phase of ["as_found", "as_left"]) {
        session.points.forEach((_, at) => {
          const step = `${session.key}.${phase}.${at}`;
          let done = 0;
          for (let n = 0; n < session.readings; n += 1) {
            if (session.parts.some((part) => anyOf(`${step}.${n}.${part.id}`, part.boxes))) done += 1;
          }
          const skipped = session.parts.every((part) => value(`${step}.not_done.${part.id}`) !== "");
          const count = document.querySelector(`[data-count="${step}"]`);
          count.textContent = skipped ? "not done" : `${done} of ${session.readings} read`;
          count.classList.toggle("done", skipped || done === session.readings);
        });
      }
    }
  }

  function listMissing() {
    const missing = [];
    const text = csv((what) => missing.push(what));
    const list = byId("missing");
    list.replaceChildren(
      ...missing.map((what) => {
        const item = document.createElement("li");
        item.textContent = what;
        return item;
      }),
    );
    byId("csv").value = text;
    return text;
  }

  const file = (text) => new File([text], fileName(), { type: "text/csv" });
  const tell = (text) => { byId("told").textContent = text; };

  byId("download").addEventListener("click", () => {
    const address = URL.createObjectURL(file(listMissing()));
    const link = document.createElement("a");
    link.href = address;
    link.download = fileName();
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(address), 60000);
    tell(`${fileName()} is in the downloads. It stays here too, until you empty the form.`);
  });

  byId("copy").addEventListener("click", async () => {
    const text = listMissing();
    try {
      await navigator.clipboard.writeText(text);
      tell("Copied.");
    } catch {
      const area = byId("csv");
      area.closest("details").open = true;
      area.focus();
      area.select();
      tell("Copying is not allowed here: the text is marked, copy it by hand.");
    }
  });

  if (navigator.canShare?.({ files: [file("")] })) {
    const share = byId("share");
    share.hidden = false;
    share.addEventListener("click", async () => {
      try {
        await navigator.share({ files: [file(listMissing())], title: data.visit });
      } catch (problem) {
        if (problem.name !== "AbortError") tell("Sharing failed: download the CSV.");
      }
    });
  }

  byId("anew").addEventListener("click", () => {
    if (!confirm("Empty every box of this form? What was not exported is lost.")) return;
    storage?.removeItem(store);
    restore();
    fields.forEach(doubt);
    refresh();
    listMissing();
    byId("saved").textContent = "emptied";
  });

  document.addEventListener("input", (event) => {
    const field = event.target.closest("[data-key]");
    if (!field) return;
    if ("number" in field.dataset) doubt(field);
    if ("notDone" in field.dataset && field.value.trim() !== "") stamp(field);
    keep();
    refresh();
  });

  // When the reason was typed is when the point was given up, unless a time stands there.
  function stamp(field) {
    const [step] = field.dataset.key.split(".not_done.");
    const time = byKey.get(`${step}.0.time`);
    if (time && time.value === "") time.value = clock();
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    if (button.classList.contains("now")) {
      byKey.get(button.dataset.for).value = clock();
      keep();
      refresh();
    } else if (button.classList.contains("sign")) {
      const field = byKey.get(button.dataset.for);
      const text = plain(field.value);
      field.value = text.startsWith("-") ? text.slice(1) : `-${text}`;
      field.focus();
      doubt(field);
      keep();
    } else if (button.dataset.shows) {
      show(button.dataset.shows);
      byId(button.dataset.shows).querySelector("select, input").focus();
      keep();
    }
  });

  byId("reload").addEventListener("click", () => location.reload());
  addEventListener("storage", (event) => {
    if (event.key === store) byId("elsewhere").hidden = false;
  });

  restore();
  fields.forEach((field) => { if ("number" in field.dataset) doubt(field); });
  refresh();
  byId("csv").closest("details").addEventListener("toggle", listMissing);
})();
