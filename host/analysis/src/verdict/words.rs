//! The sentences of a judgement: why, and what would decide it.

use super::conformity::Conformity;
use super::remedy::{Makeup, Remedy, rests_on};
use super::{DecidedFinding, FindingEffect, JudgedFigure, MOST_CYCLES, Verdict};
use crate::analysis::Figure;
use crate::analysis::budget::Source;
use crate::quantity::rounding::{as_written, fixed, measured, rounded_up, significant, with_unit};
use crate::quantity::{Channel, Condition, FigureName, PartKind, ProcedureKind, Unit};
use crate::sheet::{Limit, PartSheet, Topology, shipped_of};

/// What a line is called: only in a complementary sensor does the second one fall.
pub const fn line_name(channel: Channel, topology: Option<Topology>) -> &'static str {
    match (channel, topology) {
        (Channel::Rising, Some(Topology::HalfSlope | Topology::ParallelOffset)) => "first",
        (Channel::Falling, Some(Topology::HalfSlope | Topology::ParallelOffset)) => "second",
        (other, _) => other.name(),
    }
}

/// A count with its noun: "1 scan", "3 scans".
pub(super) fn counted(count: u64, one: &str) -> String {
    format!("{count} {one}{}", if count == 1 { "" } else { "s" })
}

/// A figure's name with its line and its condition: "latency, 99th percentile (low range, opening)".
pub(super) fn named(
    figure: FigureName,
    channel: Option<Channel>,
    condition: &Condition,
    topology: Topology,
) -> String {
    let line = |c| format!("{}, {} line", figure.title(), line_name(c, Some(topology)));
    let name = channel.map_or_else(|| figure.title().to_owned(), line);
    match condition.words() {
        words if words.is_empty() => name,
        words => format!("{name} ({words})"),
    }
}

/// A number with its unit.
fn with(value: f64, digits: u32, unit: Unit) -> String {
    with_unit(&significant(value, digits), unit)
}

/// A limit in words, with its unit.
pub(super) fn limit_words(limit: &Limit) -> String {
    let written = |value: f64| with_unit(&as_written(value), limit.unit);
    match (limit.min, limit.max) {
        (Some(min), Some(max)) => format!("{} to {}", as_written(min), written(max)),
        (Some(min), None) => format!("at least {}", written(min)),
        (None, Some(0.0)) => "none allowed".to_owned(),
        (None, Some(max)) => format!("at most {}", written(max)),
        (None, None) => "no limit".to_owned(),
    }
}

/// A value with its expanded uncertainty, rounded by it, and its place; nothing is made up where there is none.
fn value_words(figure: &Figure) -> String {
    let place =
        figure.at_deg.filter(|d| d.is_finite()).map(|d| format!(" at {}°", fixed(d, 1))).unwrap_or_default();
    let unit = figure.name.unit();
    let expanded = 2.0 * figure.stated_uncertainty();
    if matches!(unit, Unit::Count | Unit::PerMinute) && figure.value == 0.0 {
        "none seen".to_owned()
    } else if expanded.is_finite() && expanded >= 0.0 {
        format!("{}{place}", measured(figure.value, expanded, unit))
    } else {
        format!("{}{place}, uncertainty not known", with(figure.value, 2, unit))
    }
}

/// Why a judged figure decides, in a sentence.
pub(super) fn figure_reason(judged: &JudgedFigure, topology: Topology) -> Option<String> {
    let limit = judged.limit.as_ref()?;
    let figure = &judged.figure;
    let value = format!(
        "{}: {}, limit: {}",
        named(figure.name, figure.channel, &figure.condition, topology),
        value_words(figure),
        limit_words(limit)
    );
    match judged.verdict? {
        Verdict::Outside => Some(format!("outside: {value}")),
        Verdict::Undecided => {
            let why = judged.would_decide.as_deref().unwrap_or("neither can be said");
            Some(format!("undecided: {value}: {why}"))
        }
        Verdict::Within => None,
    }
}

/// Why a finding decides, in a sentence; to make a part outside takes the probability `needed`.
pub(super) fn finding_reason(decided: &DecidedFinding, mismatch: bool, needed: f64) -> Option<String> {
    let finding = &decided.finding;
    let sure = format!("confidence {} %", fixed((100.0 * finding.confidence).floor(), 0));
    let what = format!("{}: {}", finding.kind.title(), finding.text);
    match decided.effect {
        FindingEffect::Outside => Some(format!("outside: {what} ({sure})")),
        FindingEffect::Undecided if mismatch => {
            Some(format!("undecided: {what} ({sure}): judge it by the right sheet"))
        }
        FindingEffect::Undecided => {
            let needs = if finding.confidence >= needed {
                String::new()
            } else {
                format!(", {} % needed", significant(100.0 * needed, 3))
            };
            let settles = decided.sweep.map_or_else(
                || finding.kind.row().settled_by.to_owned(),
                |s| format!("one more sweep of {} cycles over the same place would settle it", s.cycles),
            );
            Some(format!("undecided: {what} ({sure}{needs}): {settles}"))
        }
        FindingEffect::Rival | FindingEffect::TooWeak | FindingEffect::Explains => None,
    }
}

/// That the sheet is for other parts than the one on the bench, and which shipped ones fit.
pub(super) fn mismatch_words(sheet: &PartSheet, shown: &[Topology]) -> String {
    let or = |names: Vec<String>| names.join(" or ");
    let kinds = or(shown.iter().map(|t| t.name().to_owned()).collect());
    let fitting = shipped_of(sheet.kind).filter(|s| shown.contains(&s.topology));
    let fitting = match or(fitting.map(|s| format!("--sheet {}", s.name)).collect()) {
        none if none.is_empty() => "none fits; change `topology` and `[nominal]` of a copy".to_owned(),
        named => named,
    };
    format!(
        "the sheet does not fit the part: {} is for a {} pair, but the lines behave as a {kinds} pair; judge it by a sheet for \
         that (shipped: {fitting}). If the sheet is the part's own, check the adapter's wiring and the part number. By a sheet \
         that does not fit, nothing is called outside",
        sheet.name,
        sheet.topology.name()
    )
}

/// That the sheet is for another kind of part.
pub(super) fn other_kind_words(sheet: &PartSheet, found: PartKind) -> String {
    let fitting: Vec<_> = shipped_of(found).map(|s| format!("--sheet {}", s.name)).collect();
    format!(
        "the sheet does not fit the part: {} is for a {}, but a {} was recorded; judge it by a sheet for that (shipped: {}). By a \
         sheet that does not fit, nothing is called outside",
        sheet.name,
        sheet.kind.name(),
        found.name(),
        fitting.join(" or ")
    )
}

/// What would decide a figure whose limit lies within the guard band.
pub(super) fn settle(
    judged: &JudgedFigure,
    limit: &Limit,
    found: &Conformity,
    cycles: u32,
    makeup: Option<&Makeup>,
) -> String {
    let figure = &judged.figure;
    let source = figure.name.row().procedure;
    if !figure.value.is_finite() {
        let again = source.map_or("sweep", ProcedureKind::title);
        return format!("it has no finite value: repeat the {again}");
    }
    let u = figure.stated_uncertainty();
    if !u.is_finite() || u < 0.0 {
        let of_body = |p: ProcedureKind| {
            format!(
                "how far it scatters is not known: repeat the {} with more {}",
                p.title(),
                p.row().repeats
            )
        };
        return source.map_or_else(|| unknown_scatter(cycles), of_body);
    }
    let unit = limit.unit;
    if let (Some(min), Some(max)) = (limit.min, limit.max)
        && max - min < 2.0 * found.guard
        && judged.remedy.is_none_or(|r| r.sweep().is_none())
    {
        return format!(
            "the limits are {} apart and the guard bands take {}: only a smaller uncertainty can decide it \
             (a calibrated reference and supply)",
            with(max - min, 4, unit),
            with(2.0 * found.guard, 2, unit)
        );
    }
    let side = if found.margin < 0.0 { "beyond" } else { "from" };
    let distance = found.margin.abs();
    format!(
        "the value is {} {side} the limit, the guard band is {}: {}",
        with(distance, 2, unit),
        with(found.guard, 2, unit),
        match (source, makeup, judged.remedy) {
            (Some(procedure), ..) => more_repeats(distance, found.guard, procedure),
            (None, Some(makeup), Some(known)) => known_remedy(judged, makeup, known, found, cycles),
            (None, None, Some(Remedy::Nothing)) => {
                "more cycles do not narrow this figure; a limit of the maker's with its own allowance decides it".to_owned()
            }
            (None, ..) => remedy(distance, found.guard, cycles),
        }
    )
}

/// What would settle it where it is known what the uncertainty is made of.
fn known_remedy(
    judged: &JudgedFigure,
    makeup: &Makeup,
    remedy: Remedy,
    found: &Conformity,
    cycles: u32,
) -> String {
    let (rests_on, unit) = (rests_on(&judged.figure), judged.figure.name.unit());
    let scatter = 100.0 * makeup.scatter_share();
    let share = |percent: f64| format!("{} %", fixed(percent.clamp(0.0, 100.0), 0));
    match remedy {
        Remedy::Sweep(sweep) => {
            let most = if sweep.cycles >= MOST_CYCLES { ", the most," } else { "" };
            let chance = sweep
                .chance
                .map_or(String::new(), |c| format!(" with a chance of {}", share((100.0 * c).floor())));
            format!(
                "{} of its variance is scatter between cycles: one more sweep of {} cycles{most} in place of {cycles} settles it{chance}",
                share(scatter),
                sweep.cycles
            )
        }
        Remedy::Calibrate => {
            let largest = (found.margin.abs() / found.guard * makeup.scatter.hypot(makeup.rest)).powi(2)
                - makeup.scatter * makeup.scatter;
            let to = if largest > 0.0 {
                format!(", down to a standard uncertainty of {} or better", with(largest.sqrt(), 2, unit))
            } else {
                String::new()
            };
            format!(
                "more cycles never settle it, for {} of its variance is what all of them share (mostly: {}); {} would{to}",
                share(100.0 - scatter),
                rests_on.map_or("what the recording leaves open", Source::title),
                rests_on.map_or("a better recording", Source::smaller_by),
            )
        }
        Remedy::Nothing => format!(
            "so near the limit neither up to {MOST_CYCLES} cycles nor a calibration is likely to settle it; a limit of the maker's with its own \
             allowance decides it"
        ),
    }
}

/// Scatter has to be seen to be known: one stroke up and one down show none.
fn unknown_scatter(cycles: u32) -> String {
    if cycles < 2 {
        format!(
            "how far it scatters between cycles is not known from {}: sweep two cycles at least, better five",
            counted(u64::from(cycles), "cycle")
        )
    } else {
        "how far it scatters between cycles could not be had: sweep again with more cycles, stop to stop"
            .to_owned()
    }
}

/// What shrinks a guard band to the distance that there is, for a figure of a throttle body.
fn more_repeats(distance: f64, guard: f64, procedure: ProcedureKind) -> String {
    let maker = "the maker's limit with its own allowance decides it too";
    let times = (guard / distance).powi(2);
    if distance > 0.0 && times <= 1000.0 {
        let times = rounded_up(times.max(1.1));
        format!(
            "about {times} times as many {} if it scatters between them; {maker}",
            procedure.row().repeats
        )
    } else {
        format!("more {} can't settle so small a distance; {maker}", procedure.row().repeats)
    }
}

/// What shrinks a guard band to the distance that there is.
fn remedy(distance: f64, guard: f64, cycles: u32) -> String {
    let maker = "the maker's limit with its own allowance decides it too";
    // Scatter between cycles averages with their number; what is common to them all does not.
    let needed = (guard / distance).powi(2) * f64::from(cycles.max(1));
    if distance > 0.0 && needed <= 1000.0 {
        let needed = needed.ceil().max(f64::from(cycles) + 1.0);
        format!(
            "at least {needed} cycles in place of {cycles} if it scatters between cycles, a calibrated reference if it \
             does not; {maker}"
        )
    } else {
        format!("more cycles can't settle so small a distance; a calibrated reference might; {maker}")
    }
}

/// How much longer a test without an event must go on, from its upper bound and the bound to reach, both per minute.
pub(super) fn longer(upper_bound: f64, bound: f64, cycles: u32) -> String {
    // Zero events in t minutes: upper bound -ln(0.05)/t, so t = -ln(0.05)/bound (Poisson).
    let (done, needed) = (-(0.05f64.ln()) / upper_bound, -(0.05f64.ln()) / bound);
    let more = needed - done;
    // Rounded up to whole units; the small allowance keeps 2.0000001 from becoming 3.
    let up = |x: f64| fixed((x - 1e-6).ceil(), 0);
    let time = if more < 1.5 { format!("{} s", up(60.0 * more)) } else { format!("{} minutes", up(more)) };
    let extra = (f64::from(cycles) * more / done - 1e-6).ceil();
    let cycles = if cycles > 0 && extra.is_finite() {
        format!(" (about {})", counted(extra as u64, "more cycle"))
    } else {
        String::new()
    };
    format!(
        "no event was seen, which excludes {} per minute and not yet {}: test {time} longer{cycles}",
        rounded_up(upper_bound),
        as_written(bound)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    // Zero events: 95 % upper bound 2.995732/t (Poisson; NIST/SEMATECH handbook's zero-failure case, computed).
    #[test]
    fn a_clean_minute_needs_two_more_to_exclude_one_per_minute() {
        // One minute seen, three needed: 2 minutes more, and 5 cycles were the first one.
        let words = longer(2.995_732_273_553_991, 1.0, 5);
        assert!(words.contains("test 2 minutes longer (about 10 more cycles)"), "{words}");
        let words = longer(40.0, 20.0, 0);
        assert!(words.contains("test 5 s longer") && !words.contains("cycles"), "{words}");
    }
}
