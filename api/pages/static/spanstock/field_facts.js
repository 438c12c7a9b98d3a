/* From a report as it is entered, and what the phone was given to keep, to the facts that the rules ask for.
 *
 * The same facts as the service gathers (`jobs/services/rules/facts.py`); one table of cases is held against
 * both. Plain ES2017 without imports, page or network. What nobody told is left out.
 */
(function (root) {
  "use strict";

  const DAY_MS = 86_400_000;
  const MILLION = 1e6;
  // Converted as a decimal a pressure may lie a hair off the limit that was approved in the same unit.
  const HAIR = 1e-9;

  const keyOf = (work) => JSON.stringify([work.job, work.name]);
  const isTold = (value) => value !== null && value !== undefined;

  function told(facts) {
    return Object.fromEntries(Object.entries(facts).filter(([, value]) => isTold(value)));
  }

  /* What a report tells, beside everything known before: `waiting` are reports that were not sent yet, oldest
   * first. Returned are the subjects of rules, {about, facts, part, number}: the last two name the row that
   * each is about. */
  function list(report, pack, day, waiting) {
    const known = gather(pack, day, waiting || []);
    const at = report.occurred_at ? new Date(report.occurred_at) : new Date();
    return [
      ...attempts(report, known),
      ...cleanings(report, known),
      ...projectiles(report, known),
      ...blowings(report, known),
      ...fittings(report, known, at),
      ...losses(report, known),
      ...fluids(report, known),
    ];
  }

  /* What the pack says, with what the waiting reports add to it. */
  function gather(pack, day, waiting) {
    const { state } = pack;
    const runs = new Map(state.runs.map((run) => [keyOf(run), { ...run, count: { ...run.count } }]));
    const reels = new Map(Object.entries(state.reels).map(([label, reel]) => [label, { ...reel, told: [...reel.told] }]));
    const fittings = new Map(Object.entries(state.fittings).map(([tag, fitting]) => [tag, { ...fitting }]));
    const known = { pack, state, day, runs, reels, fittings, runOfSpan: listRunsOfSpans(pack) };
    Object.assign(known, { fired: [...day.told.fired], metered: [...day.told.metered] });
    Object.assign(known, { injected: [...state.fluid.injected], caught: [...state.fluid.caught] });
    waiting.forEach((report) => take(report, known));
    return known;
  }

  function listRunsOfSpans(pack) {
    const steps = pack.days.flatMap((day) => day.work.filter((step) => step.kind === "extract" && step.run));
    return new Map(steps.map((step) => [keyOf(step), { job: step.job, name: step.run }]));
  }

  function take(report, known) {
    const fluid = readFluid(report, known);
    known.injected.push(...fluid.injected);
    known.caught.push(...fluid.caught);
    const isOfDay = report.crew === known.day.crew.code && report.date === known.day.date;
    for (const row of report.cleanings || []) {
      const run = known.runs.get(keyOf(row.run));
      if (run) {
        run.is_clean = run.is_clean || row.is_clean !== false;
        if (!isOfDay || !wasTold(row, known)) {
          count(run.count, row, known);
        }
      }
      if (isOfDay && row.fired && report.author !== known.pack.person) {
        known.fired.push({ ...row.run, ...numbersOf(row, known) });
      }
    }
    for (const row of report.blowings || []) {
      const reel = known.reels.get(labelOfReel(row, known));
      const marks = readMarks(row, known);
      if (reel && isTold(marks.start) && isTold(marks.end)) {
        const length = Math.abs(marks.end - marks.start) * known.state.factors[marks.unit];
        const isNew = shareTold(marks.start, marks.end, marks.unit, reel.told, known) < 1;
        reel.held_m = isTold(reel.held_m) && isNew ? Math.max(0, reel.held_m - length) : reel.held_m;
        reel.direction = reel.direction || Math.sign(marks.end - marks.start) || null;
        reel.told.push([marks.start, marks.end, marks.unit]);
      }
    }
    if (isOfDay) {
      for (const row of report.attempts || []) {
        const meter = readMeter(row, known);
        if (meter.isForward) {
          known.metered.push({ ...row.span, meter: row.meter || "", stretch: [meter.start, meter.end, meter.unit] });
        }
      }
    }
    for (const tag of tagsOf(report).keys()) {
      const fitting = known.fittings.get(tag);
      if (fitting) {
        fitting.uses += 1;
        fitting.rigged_at = report.occurred_at;
        const most = known.state.fitting_limits.most_uses;
        if (isTold(most) && fitting.uses >= most && !fitting.withdrawn_at) {
          fitting.withdrawn_at = report.occurred_at;
        }
      }
    }
  }

  function inUnit(amount, unit, known) {
    const { factors } = known.state;
    const value = Number(amount.value);
    return amount.unit === unit ? value : (value * factors[amount.unit]) / factors[unit];
  }

  /* In the unit in which rules compare: L, m or kPa. */
  function compared(amount, known) {
    return isTold(amount) ? Number(amount.value) * known.state.factors[amount.unit] : null;
  }

  function pressureFacts(row, purpose, known) {
    const limit = known.pack.limits_kpa[purpose];
    const pressure = compared(row.pressure, known);
    const isAtLimit = isTold(limit) && isTold(pressure) && Math.abs(pressure - limit) <= HAIR * limit;
    return { pressure_kpa: isAtLimit ? limit : pressure, limit_kpa: limit };
  }

  /* Both in the unit of the end, to a millionth, as they are kept. */
  function readPair(first, last, known) {
    const unit = (last || first || { unit: "" }).unit;
    const [start, end] = [first, last].map((amount) => {
      return amount ? Math.round(inUnit(amount, unit, known) * MILLION) / MILLION : null;
    });
    return { start, end, unit };
  }

  const readMarks = (row, known) => readPair(row.mark_start, row.mark_end, known);

  function readMeter(row, known) {
    const meter = readPair(row.meter_start, row.meter_end, known);
    return { ...meter, isForward: isTold(meter.start) && isTold(meter.end) && meter.end > meter.start };
  }

  /* The reel that a blowing names; marks without one are those of the only reel that the truck carries. */
  function labelOfReel(row, known) {
    if (row.reel || !(row.mark_start || row.mark_end)) {
      return row.reel || null;
    }
    const aboard = known.day.aboard.filter((vessel) => vessel.kind === "reel");
    return aboard.length === 1 ? aboard[0].label : null;
  }

  /* Which share of a stretch others cover, together: of marks and of a meter's counts each passes once. */
  function shareTold(first, last, unit, others, known) {
    const [low, high] = first < last ? [first, last] : [last, first];
    const covered = others
      .map(([start, end, other]) => [start, end].map((value) => inUnit({ value, unit: other }, unit, known)))
      .map(([start, end]) => [Math.max(low, Math.min(start, end)), Math.min(high, Math.max(start, end))])
      .filter(([start, end]) => end - start > 1 / MILLION)
      .sort((one, other) => one[0] - other[0]);
    let [share, reached] = [0, low];
    for (const [start, end] of covered) {
      share += Math.max(end - Math.max(start, reached), 0);
      reached = Math.max(reached, end);
    }
    return high > low ? share / (high - low) : 0;
  }

  /* The same meter by its tag; where one of the two names none, the one at that span. */
  function isSameMeter(row, other) {
    return row.meter && other.meter ? row.meter === other.meter : keyOf(row.span) === keyOf(other);
  }

  function shareMetered(row, meter, known) {
    const others = known.metered.filter((other) => isSameMeter(row, other)).map((other) => other.stretch);
    return meter.isForward ? shareTold(meter.start, meter.end, meter.unit, others, known) : 0;
  }

  function attempts(report, known) {
    return (report.attempts || []).map((row, number) => {
      const meter = readMeter(row, known);
      const facts = told({
        span: row.span.name,
        is_meter_told_before: shareMetered(row, meter, known) > 0 || null,
        meter_start: meter.start,
        meter_end: meter.end,
        ...pressureFacts(row, "extraction", known),
        was_leak_looked_for: row.was_leak_looked_for,
      });
      return { about: "attempt", facts, part: "attempts", number };
    });
  }

  function numbersOf(row, known) {
    const metres = compared(row.stuck_at, known);
    const stuck = isTold(metres) ? Math.round(metres * MILLION) / MILLION : null;
    const [fired, retrieved] = [row.fired, row.retrieved].map((value) => (isTold(value) ? value : null));
    return { fired, retrieved, stuck_at_m: stuck, is_clean: row.is_clean !== false };
  }

  /* What others fired into the same run that day, as many. */
  function likeFired(row, known) {
    return known.fired.filter((other) => row.fired > 0 && keyOf(other) === keyOf(row.run) && other.fired === row.fired);
  }

  /* The same numbers of another device are the same cleaning: it counts once. */
  function wasTold(row, known) {
    const numbers = Object.entries(numbersOf(row, known));
    return likeFired(row, known).some((other) => numbers.every(([name, value]) => other[name] === value));
  }

  function cleanings(report, known) {
    return (report.cleanings || []).map((row, number) => {
      const facts = told({
        run: row.run.name,
        fired: row.fired,
        is_told_before: wasTold(row, known) || null,
        is_told_alike: (likeFired(row, known).length > 0 && !wasTold(row, known)) || null,
        ...pressureFacts(row, "air_cleaning", known),
      });
      return { about: "cleaning", facts, part: "cleanings", number };
    });
  }

  /* Add a cleaning to the count of its run: the same steps as `jobs/queries/projectiles.py`. */
  function count(state, row, known) {
    const [fired, out] = [row.fired || 0, row.retrieved || 0];
    const inside = state.inside_at_most + fired - out;
    state.fired += fired;
    state.retrieved += out;
    state.inside_at_most = Math.max(0, inside);
    state.surplus += Math.max(0, -inside);
    state.is_counted = state.is_counted || isTold(row.retrieved);
    state.is_sure = (state.is_sure && (isTold(row.retrieved) || !fired)) || inside <= 0;
    if (isTold(row.stuck_at)) {
      state.stuck_at_m = Math.round(compared(row.stuck_at, known) * MILLION) / MILLION;
    } else if (out && !state.inside_at_most) {
      state.stuck_at_m = null;
    }
  }

  /* What is inside over all days; what safety has accounted for is out in what the pack says already. */
  function projectiles(report, known) {
    const found = new Map();
    (report.cleanings || []).forEach((row, number) => {
      const run = known.runs.get(keyOf(row.run));
      if (run) {
        const state = found.has(run) ? found.get(run).state : { ...run.count };
        if (!wasTold(row, known)) {
          count(state, row, known);
        }
        found.set(run, { state, number });
      }
    });
    return [...found].map(([run, { state, number }]) => {
      const isWhole = state.is_sure && state.is_counted;
      const facts = told({
        run: run.name,
        fired: state.fired,
        inside_at_most: state.inside_at_most,
        surplus: state.surplus,
        retrieved: isWhole ? state.retrieved : null,
        inside: isWhole ? state.inside_at_most : null,
        stuck_at_m: state.stuck_at_m,
      });
      return { about: "projectiles", facts, part: "cleanings", number };
    });
  }

  function blowings(report, known) {
    const cleaned = (report.cleanings || []).filter((row) => row.is_clean !== false).map((row) => keyOf(row.run));
    return (report.blowings || []).map((row, number) => {
      const run = known.runs.get(keyOf(row.run));
      const marks = readMarks(row, known);
      const label = labelOfReel(row, known);
      const reel = known.reels.get(label);
      const isMarked = isTold(marks.start) && isTold(marks.end);
      const share = reel && isMarked ? shareTold(marks.start, marks.end, marks.unit, reel.told, known) : 0;
      const facts = told({
        run: row.run.name,
        are_marks_told_before: share > 0 || null,
        is_clean: cleaned.includes(keyOf(row.run)) || (run ? run.is_clean : null),
        ...pressureFacts(row, "blowing", known),
        tolerance: known.state.mark_tolerance,
        reel: label,
        mark_start: label ? marks.start : null,
        mark_end: label ? marks.end : null,
        used_m: label && isMarked ? Math.abs(marks.end - marks.start) * known.state.factors[marks.unit] : null,
        reel_m: reel && isMarked ? reel.held_m : null,
        reel_direction: reel && isMarked ? reel.direction : null,
      });
      return { about: "blowing", facts, part: "blowings", number };
    });
  }

  /* The tags that a report names, each with the first row that does. */
  function tagsOf(report) {
    const found = new Map();
    (report.attempts || []).forEach((row, number) => {
      if (row.pressure_fitting_tag && !found.has(row.pressure_fitting_tag)) {
        found.set(row.pressure_fitting_tag, number);
      }
    });
    return found;
  }

  function fittings(report, known, at) {
    return [...tagsOf(report)].map(([tag, number]) => {
      const fitting = known.fittings.get(tag);
      const facts = { tag, is_known: fitting !== undefined, ...(fitting ? fittingFacts(fitting, known, at) : {}) };
      return { about: "fitting", facts, part: "attempts", number };
    });
  }

  function fittingFacts(fitting, known, at) {
    const limits = known.state.fitting_limits;
    return told({
      is_in_service: !fitting.withdrawn_at || new Date(fitting.withdrawn_at) >= at,
      is_inspected: isInspected(fitting, limits, at),
      uses: fitting.uses + 1,
      age_days: (Date.parse(at.toISOString().slice(0, 10)) - Date.parse(fitting.made_date)) / DAY_MS,
      most_uses: limits.most_uses,
      longest_age_days: limits.longest_age_days,
    });
  }

  /* Passed, recent, and not used up by another rigging since. */
  function isInspected(fitting, limits, at) {
    if (!fitting.is_passed || !fitting.inspected_at) {
      return false;
    }
    const inspected = Date.parse(fitting.inspected_at);
    const isRecent = at.getTime() - inspected <= limits.inspection_holds_days * DAY_MS;
    return isRecent && !(fitting.rigged_at && Date.parse(fitting.rigged_at) >= inspected);
  }

  /* What the tries and catches of a report say of fluid, as what was told before stands in the pack. */
  function readFluid(report, known) {
    const day = known.pack.days.find((other) => other.crew.code === report.crew && other.date === report.date) || known.day;
    const whose = { crew: report.crew, date: report.date };
    const inLitres = (amount) => compared(amount, known);
    const { fluid } = known.state;
    const injected = (report.attempts || []).map((row) => {
      const meter = readMeter(row, known);
      const share = shareMetered(row, meter, known);
      const amount = root.spanstockFluid.injected(row, meter, share, day.fluid, fluid, inLitres);
      return { ...whose, run: known.runOfSpan.get(keyOf(row.span)) || null, meter: row.meter || "", ...amount };
    });
    const caught = (report.caught || []).map((row) => {
      const named = [...(row.run ? [row.run] : []), ...(row.spans || []).map((span) => known.runOfSpan.get(keyOf(span)))];
      const runs = [...new Map(named.filter(isTold).map((run) => [keyOf(run), run])).values()];
      const amount = root.spanstockFluid.caught(row, day.fluid, fluid, inLitres);
      return { ...whose, kind: row.kind || "caught", runs, scale: "", ...amount };
    });
    return { injected, caught };
  }

  /* The day's fluid where something was caught, and that of each run that was swept. */
  function fluids(report, known) {
    const rows = report.caught || [];
    const own = readFluid(report, known);
    const went = [...known.injected, ...own.injected];
    const came = [...known.caught, ...own.caught];
    const factor = known.state.coverage_factor;
    const swept = rows.map((row, number) => ({ run: row.run, number })).filter(({ run }) => run);
    const runs = new Map(swept.map((row) => [keyOf(row.run), row]));
    const day = { crew: report.crew, date: report.date };
    const last = { facts: root.spanstockFluid.weighDay(day, nameWork(report, known), went, came, factor), number: rows.length - 1 };
    const found = rows.length ? [last] : [];
    for (const { run, number } of runs.values()) {
      found.push({ facts: root.spanstockFluid.weighRun(run, day, nameWork({ run }, known), went, came, factor, keyOf), number });
    }
    return found
      .filter(({ facts }) => facts !== null)
      .map(({ facts, number }) => ({ about: "fluid", facts, part: "caught", number }));
  }

  function losses(report, known) {
    return (report.losses || []).map((row, number) => {
      const material = known.pack.materials.find((found) => found.code === row.material);
      const facts = told({
        material: material ? material.name : row.material,
        is_fluid: material ? material.is_fluid : null,
        cause: row.cause,
        is_contained: row.is_contained,
        where: nameWork(row, known),
      });
      return { about: "loss", facts, part: "losses", number };
    });
  }

  /* As the service says it, in the words that came with the pack. */
  function nameWork(row, known) {
    const words = known.pack.words || {};
    const say = (text, name) => (words[text] || text).replace("{name}", name);
    if (row.span) {
      return say("Span {name}", row.span.name);
    }
    if (row.run) {
      return say("Run {name}", row.run.name);
    }
    return say("Crew {name} on {date}", row.crew || known.day.crew.code).replace("{date}", row.date || known.day.date);
  }

  root.spanstockFacts = { list };
})(typeof globalThis === "undefined" ? this : globalThis);
