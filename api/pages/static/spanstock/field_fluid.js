/* What went into the spans and what came back, of a crew on its day and of a run over all days, as the rules
 * weigh it: amounts as they were told, with their standard uncertainty (GUM).
 *
 * The same as `jobs/services/rules/fluid_facts.py` with `inventory/calc/measuring.py`. No page, no network.
 */
(function (root) {
  "use strict";

  const isTold = (value) => value !== null && value !== undefined;
  const hypot = (numbers) => Math.hypot(...numbers);

  /* The reading of a meter in litres: its step anew with each reading, its class alike in all of the day. */
  function metered(litres, meter) {
    const amount = litres / (1 + meter.drift);
    const own = (meter.step_l / Math.sqrt(6)) * meter.trust;
    const common = ((meter.percent / 100) * amount * meter.trust) / Math.sqrt(3);
    return { amount, own, common };
  }

  /* At the reference temperature; less sure where nobody knows how warm it was. */
  function atReference(reading, celsius, fluid, reference) {
    const { table } = fluid;
    const isWithin = (point) => table.length > 1 && table[0][0] <= point && point <= table[table.length - 1][0];
    if (isTold(celsius) && isWithin(celsius) && isWithin(reference)) {
      const factor = density(celsius, table) / density(reference, table);
      const [amount, own, common] = [reading.amount, reading.own, reading.common].map((part) => part * factor);
      return { litres: amount, uncertainty_l: hypot([own, common]) };
    }
    const own = hypot([reading.own, fluid.unknown_share * reading.amount]);
    return { litres: reading.amount, uncertainty_l: hypot([own, reading.common]) };
  }

  function density(celsius, table) {
    const above = Math.max(1, table.findIndex(([point]) => point >= celsius));
    const [[cold, heavy], [warm, light]] = [table[above - 1], table[above]];
    return heavy + ((celsius - cold) / (warm - cold)) * (light - heavy);
  }

  const UNKNOWN = { litres: null, uncertainty_l: null };

  /* The best that a try tells: by the meter where it ran forwards, else as told. `share` was told before. */
  function injected(row, meter, share, day, state, inLitres) {
    const vessel = state.vessels[row.source_container];
    const fluid = state.fluids[row.fluid || (vessel && vessel.drawn) || day.usual_fluid];
    const isForward = isTold(meter.start) && isTold(meter.end) && meter.end >= meter.start;
    if (!fluid || (!isForward && !isTold(row.injected))) {
      return UNKNOWN;
    }
    const told = isForward ? inLitres({ value: meter.end - meter.start, unit: meter.unit }) : inLitres(row.injected);
    const device = (isForward && day.meters[row.meter]) || state.usual_meter;
    const found = atReference(metered(told, device), celsiusOf(row.temperature), fluid, state.reference_c);
    return { litres: found.litres * (1 - share), uncertainty_l: found.uncertainty_l * (1 - share) };
  }

  function celsiusOf(temperature) {
    if (!isTold(temperature)) {
      return null;
    }
    const value = Number(temperature.value);
    return temperature.unit === "[degF]" ? ((value - 32) * 5) / 9 : value;
  }

  /* What came into a container and was measured by itself. */
  function caught(row, day, state, inLitres) {
    const vessel = state.vessels[row.container] || {};
    const usual = state.fluids[day.usual_fluid] || {};
    const fluid = state.fluids[vessel.caught || usual.comes_back_as || day.usual_fluid];
    if (!fluid || !isTold(row.amount)) {
      return UNKNOWN;
    }
    return atReference(metered(inLitres(row.amount), state.usual_meter), null, fluid, state.reference_c);
  }

  /* Readings of one instrument share its error, so theirs add up; all others are independent. */
  function addUp(rows, instrumentOf) {
    const parts = new Map();
    let litres = 0;
    rows.forEach((row, number) => {
      if (litres === null || !isTold(row.litres)) {
        litres = null;
        return;
      }
      const instrument = instrumentOf(row) || number;
      litres += row.litres;
      parts.set(instrument, (parts.get(instrument) || 0) + row.uncertainty_l);
    });
    return { litres, uncertainty: hypot([0, ...parts.values()]) };
  }

  function weigh(where, went, came, isSwept, factor) {
    const [gone, back] = [addUp(went, (row) => row.meter), addUp(came, (row) => row.scale)];
    const facts = { where, uncertainty_l: hypot([gone.uncertainty, back.uncertainty]) };
    if (gone.litres !== null) {
      facts.injected_l = gone.litres;
    }
    if (back.litres !== null) {
      facts.recovered_l = back.litres;
    }
    return { ...facts, coverage_factor: factor, is_swept: isSwept };
  }

  const isOf = (day) => (row) => row.crew === day.crew && row.date === day.date;

  /* Bypass is caught while the core moves, so no more of it comes than goes in on the day itself. */
  function weighDay(day, where, went, came, factor) {
    const [own, back] = [went.filter(isOf(day)), came.filter((row) => isOf(day)(row) && row.kind === "caught")];
    return own.length && back.length ? weigh(where, own, back, false, factor) : null;
  }

  /* A run's fluid over all days, unless a catch served other runs too or nobody knows its spans. */
  function weighRun(run, day, where, went, came, factor, keyOf) {
    const isIts = (other) => other !== null && keyOf(other) === keyOf(run);
    const own = went.filter((row) => isIts(row.run));
    const back = came.filter((row) => row.runs.some(isIts));
    const isMixed = back.some((row) => row.runs.length > 1);
    const isOpen = own.some(isOf(day)) && came.some((row) => isOf(day)(row) && row.runs.length === 0);
    return own.length && !isMixed && !isOpen ? weigh(where, own, back, true, factor) : null;
  }

  root.spanstockFluid = { injected, caught, weighDay, weighRun };
})(typeof globalThis === "undefined" ? this : globalThis);
