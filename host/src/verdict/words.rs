//! The sentences of a judgement: why, and what would decide it.

use super::conformity::{Conformity, GUARD_FACTOR};
use super::{DecidedFinding, JudgedFigure, Verdict};
use crate::analysis::Figure;
use crate::quantity::FigureName;
use crate::sheet::Limit;

/// Four significant digits without trailing zeros.
pub(super) fn short(value: f64) -> String {
    if !value.is_finite() {
        return "unknown".to_owned();
    }
    if value == 0.0 {
        return "0".to_owned();
    }
    let digits = (3 - value.abs().log10().floor() as i32).clamp(0, 9) as usize;
    let text = format!("{value:.digits$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// A figure's name with its line.
pub(super) fn named(figure: FigureName, channel: Option<crate::quantity::Channel>) -> String {
    channel.map_or_else(|| figure.name().to_owned(), |c| format!("{} of the {c} line", figure.name()))
}

/// A limit in words, with its unit.
pub(super) fn limit_words(limit: &Limit) -> String {
    let unit = limit.unit.symbol();
    match (limit.min, limit.max) {
        (Some(min), Some(max)) => format!("{} to {} {unit}", short(min), short(max)),
        (Some(min), None) => format!("at least {} {unit}", short(min)),
        (None, Some(max)) => format!("at most {} {unit}", short(max)),
        (None, None) => "no limit".to_owned(),
    }
}

/// Why a judged figure decides, in a sentence.
pub(super) fn figure_reason(judged: &JudgedFigure) -> Option<String> {
    let limit = judged.limit.as_ref()?;
    let figure = &judged.figure;
    let place =
        figure.at_deg.filter(|d| d.is_finite()).map(|d| format!(" at {} deg", short(d))).unwrap_or_default();
    let value = format!(
        "{} is {} ± {} {}{place}, limit {}",
        named(figure.name, figure.channel),
        short(figure.value),
        short(2.0 * figure.standard_uncertainty),
        limit.unit.symbol(),
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

/// Why a finding decides, in a sentence.
pub(super) fn finding_reason(decided: &DecidedFinding) -> Option<String> {
    let finding = &decided.finding;
    let sure = format!("confidence {} %", short(100.0 * finding.confidence));
    match decided.verdict? {
        Verdict::Outside => Some(format!("outside: {}: {} ({sure})", finding.kind.name(), finding.text)),
        Verdict::Undecided => Some(format!(
            "undecided: {}: {} ({sure}, 95 % needed): more cycles at the same place would settle it",
            finding.kind.name(),
            finding.text
        )),
        Verdict::Within => None,
    }
}

/// What would decide a figure whose limit lies within the guard band.
pub(super) fn settle(figure: &Figure, limit: &Limit, found: &Conformity, cycles: u32) -> String {
    if !figure.value.is_finite() {
        return "it has no finite value: repeat the sweep".to_owned();
    }
    let u = figure.standard_uncertainty;
    if !u.is_finite() || u < 0.0 {
        return "its uncertainty is not known: use a calibrated rig".to_owned();
    }
    let unit = limit.unit.symbol();
    if let (Some(min), Some(max)) = (limit.min, limit.max)
        && max - min < 2.0 * GUARD_FACTOR * u
    {
        return format!(
            "the limits are {} {unit} apart and the guard bands take {}: only a smaller uncertainty can decide it \
             (a calibrated reference and supply)",
            short(max - min),
            short(2.0 * found.guard)
        );
    }
    let side = if found.margin < 0.0 { "beyond" } else { "from" };
    let distance = found.margin.abs();
    format!(
        "the value is {} {unit} {side} the limit, the guard band is {}: {}",
        short(distance),
        short(found.guard),
        remedy(distance, found.guard, cycles)
    )
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
    let up = |x: f64| short((x - 1e-6).ceil());
    let time = if more < 1.5 { format!("{} s", up(60.0 * more)) } else { format!("{} minutes", up(more)) };
    let extra = (f64::from(cycles) * more / done - 1e-6).ceil();
    let cycles =
        if cycles > 0 && extra.is_finite() { format!(" (about {extra} more cycles)") } else { String::new() };
    format!(
        "no event was seen, which excludes {} per minute and not yet {}: test {time} longer{cycles}",
        short(upper_bound),
        short(bound)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short_and_keep_four_digits() {
        assert_eq!(short(0.030_04), "0.03004");
        assert_eq!(short(2.0), "2");
        assert_eq!(short(-12.3456), "-12.35");
        assert_eq!(short(123_456.0), "123456");
        assert_eq!(short(0.0), "0");
        assert_eq!(short(f64::NAN), "unknown");
    }

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
