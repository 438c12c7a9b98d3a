/* The day's report: a tap per step and container, more where there is more to say, the trade's rules at once. */
import { find, keep } from "./field_store.js";
import { chooseUnits, copyRow, readRaw, readRow, writeRaw } from "./field_form.js";
import { listWaitingReports } from "./field_queue.js";
import { make, showAmount, word } from "./field_words.js";

const { spanstockFacts, spanstockRules } = globalThis;

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
    // Reports that the service has not got yet: what they tell counts for what the rules say of this one.
    this.waiting = [];
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
    this.waiting = await listWaitingReports();
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
    // A pack that an older page kept does not say what rules ask for; the next one does.
    if (!this.pack.state) {
      return;
    }
    const { parts, rows } = this.collect(isEntered);
    const { rules, system, words } = this.pack;
    const found = new Map();
    for (const { about, facts, part, number } of spanstockFacts.list(parts, this.pack, this.day, this.waiting)) {
      const row = rows[part][number];
      found.set(row, [...(found.get(row) || []), ...spanstockRules.check(rules, about, facts, system, words)]);
    }
    for (const row of this.view.querySelectorAll('[data-panel="report"] .row')) {
      const place = row.querySelector('[data-slot="findings"]');
      if (place) {
        place.replaceChildren(...(found.get(row) || []).map(showFinding));
      }
    }
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

  /* What the rows tell, by part of the report, as the service takes it, and beside it the rows themselves.
   * `isWanted` chooses among the planned steps. */
  collect(isWanted) {
    const [parts, rows] = [{ crew: this.day.crew.code, date: this.day.date }, {}];
    const put = (row, told) => {
      const { part } = row.dataset;
      parts[part] = [...(parts[part] || []), told];
      rows[part] = [...(rows[part] || []), row];
    };
    [...this.rows.children].filter(isWanted).forEach((row) => put(row, { ...row.work, ...readStep(row) }));
    for (const row of this.vessels.children) {
      const reading = readReading(row);
      if (reading !== null) {
        put(row, { ...row.work, ...reading });
      }
    }
    [...this.more.children].forEach((row) => put(row, withWork(readRow(row))));
    return { parts, rows };
  }

  /* The body of the request, or null where nothing was told. */
  body() {
    const { parts, rows } = this.collect(isSaid);
    const note = this.note.value.trim();
    if (Object.keys(rows).length === 0 && !note) {
      return null;
    }
    const head = { id: crypto.randomUUID(), occurred_at: new Date().toISOString(), device: "field page" };
    return { ...head, ...parts, ...(note ? { note } : {}) };
  }
}

/* A step of which somebody said how it went is sent; rules look at one as soon as anything stands in it. */
const isSaid = (row) => row.querySelector("input[data-main]:checked") !== null;
const isEntered = (row) => Object.keys(readRow(row)).length > 0 && !readRaw(row).undone;

/* A run is not clean before somebody says so, though one that is sent without a word on it is. */
function readStep(row) {
  const told = readRow(row);
  return row.dataset.part === "cleanings" ? { is_clean: false, ...told } : told;
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
