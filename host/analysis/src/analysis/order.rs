//! The order in which findings are reported: what takes the signal away, then what falsifies it, then what degrades it.
//!
//! Causes of the line as a whole are rivals for one deviation, so among them the most probable goes first, whatever its kind.
//! What is less likely than not comes after all that is likelier.

use super::Finding;

/// Confidence below which a finding comes last.
const UNLIKELY: f64 = 0.5;

/// Orders findings: likely ones first, then by kind, within a kind (or among rivals) the surest first, then by place.
pub fn order(findings: &mut [Finding]) {
    findings.sort_by(|a, b| {
        let unlikely = |f: &Finding| f.confidence.is_nan() || f.confidence < UNLIKELY;
        unlikely(a)
            .cmp(&unlikely(b))
            .then(a.kind.row().order.cmp(&b.kind.row().order))
            .then(b.confidence.total_cmp(&a.confidence))
            .then(a.from_deg.unwrap_or(f64::MAX).total_cmp(&b.from_deg.unwrap_or(f64::MAX)))
            .then(a.channel.cmp(&b.channel))
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::FindingKind;

    fn finding(kind: FindingKind, confidence: f64, from: Option<f64>) -> Finding {
        Finding {
            kind,
            channel: None,
            from_deg: from,
            to_deg: from,
            confidence,
            text: String::new(),
            details: vec![],
        }
    }

    fn ordered(mut all: Vec<Finding>) -> Vec<(FindingKind, Option<f64>)> {
        order(&mut all);
        all.iter().map(|f| (f.kind, f.from_deg)).collect()
    }

    #[test]
    fn findings_come_in_order_of_kind_then_confidence_then_place() {
        let all = vec![
            finding(FindingKind::NoisyTrack, 1.0, None),
            finding(FindingKind::FlatSpot, 0.9, Some(20.0)),
            finding(FindingKind::FlatSpot, 0.9, Some(10.0)),
            finding(FindingKind::FlatSpot, 0.99, None),
            finding(FindingKind::NotMoving, 0.5, None),
        ];
        assert_eq!(
            ordered(all),
            [
                (FindingKind::NotMoving, None),
                (FindingKind::FlatSpot, None),
                (FindingKind::FlatSpot, Some(10.0)),
                (FindingKind::FlatSpot, Some(20.0)),
                (FindingKind::NoisyTrack, None),
            ]
        );
    }

    #[test]
    fn rival_causes_come_by_probability_and_unlikely_findings_last() {
        let all = vec![
            finding(FindingKind::Leakage, 0.2, None),
            finding(FindingKind::Dropout, 0.3, None),
            finding(FindingKind::CommonNonlinearity, 0.6, None),
            finding(FindingKind::GainOffset, 0.7, None),
            finding(FindingKind::NoisyTrack, 0.99, None),
        ];
        let kinds: Vec<_> = ordered(all).iter().map(|f| f.0).collect();
        assert_eq!(
            kinds,
            [
                FindingKind::GainOffset,
                FindingKind::CommonNonlinearity,
                FindingKind::NoisyTrack,
                FindingKind::Dropout,
                FindingKind::Leakage,
            ]
        );
    }

    #[test]
    fn a_nan_confidence_comes_last() {
        let all = vec![
            finding(FindingKind::NotMoving, f64::NAN, None),
            finding(FindingKind::NoisyTrack, 0.6, None),
        ];
        assert_eq!(ordered(all)[0].0, FindingKind::NoisyTrack);
    }
}
