/* The day's report: a tap per step and container, more where there is more to say, the trade's rules at once. */
import { find, keep } from "./field_store.js";
import { chooseUnits, copyRow, readRaw, readRow, writeRaw } from "./field_form.js";
import { make, showAmount, word } from "./field_words.js";

const METRES = { "[ft_i]": 0.3048, "[in_i]": 0.0254, mm: 0.001, m: 1 };
const KPA = { "[psi]": 6.894757293168361, bar: 100, kPa: 1 };

export class Report {
  constructor(view, day, pack) {
    this.view = view;
    this.day = day;
    this.pack = pack;
    this.key = `${day.crew.code} ${day.date}`;
    this.rows = view.querySelector('[data-slot="rows"]');
    this.vessels = view.querySelector('[data-slot="vessels"]');
    this.more = view.querySelector('[data-slot="more"]');
    this.note = view.querySelector('[data-slot="note"]');
    this.photos = [];
  }

  async show() {
    this.day.work.forEach((step) => this.rows.append(this.makeStep(step)));
    this.listVessels().forEach((vessel) => this.vessels.append(this.makeVessel(vessel)));
    this.view.querySelectorAll("[data-add]").forEach((button) =>
      button.addEventListener("click", () => this.add(button.dataset.add).querySelector("input, select").focus()),
    );
    this.view.querySelector('[data-action="as-planned"]').addEventListener("click", () => this.markAllDone());
    const chooser = this.view.querySelector('[data-slot="photos"]');
    chooser.addEventListener("change", () => {
      this.photos.push(...chooser.files);
      chooser.value = "";
      this.showPhotos();
      this.changed();
    });
    await this.restore();
    const panel = this.view.querySelector('[data-panel="report"]');
    panel.addEventListener("input", () => this.changed());
    panel.addEventListener("change", () => this.changed());
    this.checkAll();
  }

  /* Which of the two parts of the day is shown. */
  tab() {
    return this.view.querySelector('[aria-selected="true"]').dataset.tab;
  }

  /* Fluid on the truck now, and what the sheet says is still to be loaded. */
  listVessels() {
    const found = new Map(this.day.aboard.filter((row) => row.is_fluid).map((row) => [row.label, row]));
    for (const line of this.day.lines.filter((row) => row.section === "fluid")) {
      for (const pick of line.picks.filter((row) => row.container && !found.has(row.container))) {
        found.set(pick.container, { label: pick.container, material: line.title, quantity: pick.quantity });
      }
    }
    return [...found.values()];
  }

  makeStep(step) {
    const row = copyRow(step.kind);
    row.dataset.key = `step ${step.kind} ${step.job} ${step.name}`;
    row.querySelector('[data-slot="title"]').textContent = step.title;
    row.querySelector('[data-slot="detail"]').textContent = step.detail;
    row.work = { [step.kind === "extract" ? "span" : "run"]: { job: step.job, name: step.name } };
    row.isStopped = step.is_stopped;
    chooseUnits(row, this.pack.system);
    return row;
  }

  makeVessel(vessel) {
    const row = copyRow("vessel");
    row.dataset.key = `vessel ${vessel.label}`;
    row.querySelector('[data-slot="title"]').textContent = vessel.label;
    const book = showAmount(vessel.quantity, this.pack.system);
    row.querySelector('[data-slot="detail"]').textContent = `${vessel.material}, ${book}`;
    row.work = { container: vessel.label };
    chooseUnits(row, this.pack.system);
    return row;
  }

  add(name, key = crypto.randomUUID()) {
    const row = copyRow(name);
    row.dataset.key = `added ${name} ${key}`;
    row.work = {};
    for (const select of row.querySelectorAll("[data-work]")) {
      this.fillWork(select);
    }
    chooseUnits(row, this.pack.system);
    row.querySelector('[data-action="remove"]').addEventListener("click", () => {
      row.remove();
      this.changed();
    });
    this.more.append(row);
    return row;
  }

  fillWork(select) {
    const wanted = select.dataset.work === "span" ? ["extract"] : ["clean", "blow"];
    select.append(new Option("", ""));
    const named = this.day.work.filter((step) => wanted.includes(step.kind));
    const seen = new Set();
    for (const step of named) {
      const value = JSON.stringify({ job: step.job, name: step.name });
      if (!seen.has(value)) {
        seen.add(value);
        select.append(new Option(`${step.name} (${step.job})`, value));
      }
    }
  }

  markAllDone() {
    for (const row of this.rows.children) {
      if (!row.isStopped && !row.querySelector("input[type=radio]:checked")) {
        row.querySelector("input[data-main]").checked = true;
      }
    }
    this.changed();
  }

  changed() {
    this.saving = keep("drafts", this.key, this.draft());
    this.checkAll();
  }

  draft() {
    const all = [...this.view.querySelectorAll('[data-panel="report"] .row')];
    const rows = all.map((row) => ({ key: row.dataset.key, values: readRaw(row) }));
    return { author: this.pack.person, rows, note: this.note.value, photos: this.photos };
  }

  async restore() {
    const draft = await find("drafts", this.key);
    if (!draft) {
      return;
    }
    this.note.value = draft.note || "";
    this.photos = draft.photos || [];
    this.showPhotos();
    for (const { key, values } of draft.rows) {
      const [sort, name, id] = key.split(" ");
      const known = this.view.querySelector(`[data-key="${CSS.escape(key)}"]`);
      const row = known || (sort === "added" ? this.add(name, id) : null);
      if (row) {
        writeRaw(row, values);
      }
    }
  }

  /* What the rules of the trade say to each row, as soon as it is entered. */
  checkAll() {
    for (const row of this.rows.children) {
      const place = row.querySelector('[data-slot="findings"]');
      place.replaceChildren(...this.findings(row).map(showFinding));
    }
  }

  findings(row) {
    const told = readRow(row);
    const { rules, limits_kpa: limits, system } = this.pack;
    const ask = (subject, facts) => globalThis.spanstockRules.check(rules, subject, facts, system);
    const pressure = told.pressure ? Number(told.pressure.value) * KPA[told.pressure.unit] : null;
    if (row.dataset.part === "attempts") {
      return ask("attempt", {
        span: row.work.span.name,
        meter_start: told.meter_start ? Number(told.meter_start.value) : null,
        meter_end: told.meter_end ? Number(told.meter_end.value) : null,
        was_leak_looked_for: told.was_leak_looked_for,
        pressure_kpa: pressure,
        limit_kpa: limits.extraction ?? null,
      });
    }
    const run = row.work.run.name;
    if (row.dataset.part === "cleanings") {
      return [
        ...ask("cleaning", { run, pressure_kpa: pressure, limit_kpa: limits.air_cleaning ?? null }),
        ...ask("projectiles", { run, ...projectileFacts(told) }),
      ];
    }
    return ask("blowing", this.blowingFacts(run, told, pressure, limits));
  }

  blowingFacts(run, told, pressure, limits) {
    const reel = this.day.aboard.find((vessel) => vessel.label === told.reel);
    const metres = told.mark_start ? (METRES[told.mark_start.unit] ?? 1) : 1;
    const [start, end] = [told.mark_start, told.mark_end].map((mark) => (mark ? Number(mark.value) : null));
    const held = reel ? Number(reel.quantity.value) * (reel.quantity.unit === "[ft_i]" ? 0.3048 : 1) : null;
    return {
      run,
      reel: told.reel ?? null,
      mark_start: start,
      mark_end: end,
      reel_direction: reel && reel.marks_rise !== null ? (reel.marks_rise ? 1 : -1) : null,
      used_m: start !== null && end !== null ? Math.abs(end - start) * metres : null,
      reel_m: held,
      tolerance: 0.01,
      pressure_kpa: pressure,
      limit_kpa: limits.blowing ?? null,
    };
  }

  showPhotos() {
    const place = this.view.querySelector('[data-slot="photo-names"]');
    place.replaceChildren(...this.photos.map((photo, number) => this.showPhoto(photo, number)));
  }

  showPhoto(photo, number) {
    const row = make("p", `${photo.name} `);
    const button = make("button", word("take_out"), "plain");
    button.type = "button";
    button.addEventListener("click", () => {
      this.photos.splice(number, 1);
      this.showPhotos();
      this.changed();
    });
    row.append(button);
    return row;
  }

  unread() {
    const rows = [...this.vessels.children].filter((row) => readReading(row) === null);
    return rows.map((row) => row.work.container);
  }

  /* The body of the request, or null where nothing was told. */
  body() {
    const parts = {};
    const put = (part, row) => (parts[part] = [...(parts[part] || []), row]);
    for (const row of this.rows.children) {
      if (row.querySelector("input[data-main]:checked")) {
        put(row.dataset.part, { ...row.work, ...readRow(row) });
      }
    }
    for (const row of this.vessels.children) {
      const reading = readReading(row);
      if (reading !== null) {
        put("readings", { ...row.work, ...reading });
      }
    }
    for (const row of this.more.children) {
      put(row.dataset.part, withWork(readRow(row)));
    }
    if (this.note.value.trim()) {
      parts.note = this.note.value.trim();
    }
    if (Object.keys(parts).length === 0) {
      return null;
    }
    const head = { id: crypto.randomUUID(), crew: this.day.crew.code, date: this.day.date };
    return { ...head, occurred_at: new Date().toISOString(), device: "field page", ...parts };
  }
}

/* Of this row alone: what earlier days left inside is known to the service. */
function projectileFacts(told) {
  const fired = told.fired ?? null;
  const retrieved = told.retrieved ?? null;
  const isCounted = fired !== null && retrieved !== null;
  const stuckAt = told.stuck_at ? Number(told.stuck_at.value) * (METRES[told.stuck_at.unit] ?? 1) : null;
  return {
    fired,
    retrieved,
    inside: isCounted ? Math.max(0, fired - retrieved) : null,
    inside_at_most: fired !== null ? Math.max(0, fired - (retrieved ?? 0)) : null,
    surplus: isCounted ? Math.max(0, retrieved - fired) : null,
    stuck_at_m: stuckAt,
  };
}

function readReading(row) {
  const raw = readRaw(row);
  if (raw.method && raw.value) {
    const { method, value, unit, temperature, instrument } = { ...raw, ...readRow(row) };
    const told = { method, value: value.trim().replace(",", "."), unit };
    return { ...told, ...(temperature ? { temperature } : {}), ...(instrument ? { instrument } : {}) };
  }
  if (!raw.level) {
    return null;
  }
  return ["empty", "full"].includes(raw.level) ? { method: raw.level } : { method: "quarters", value: raw.level };
}

function withWork(told) {
  const found = { ...told };
  for (const name of ["span", "run"]) {
    if (typeof found[name] === "string") {
      found[name] = JSON.parse(found[name]);
    }
  }
  return found;
}

function showFinding(finding) {
  const part = make("div", "", finding.severity === "stop" ? "finding stop" : "finding");
  part.append(make("b", finding.name), make("p", finding.sentence));
  if (finding.caution) {
    part.append(make("p", finding.caution, "caution"));
  }
  return part;
}
