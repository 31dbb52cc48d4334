//! The lines of a hatching in a rectangle, each cut to it. It does not draw them.

use crate::report::svg::picture::{Point, Ruling};

/// From where to where each line runs; rows of dots run from the first dot to the right edge.
pub fn lines(at: Point, size: Point, ruling: Ruling) -> Vec<(Point, Point)> {
    let area = [at.0, at.1, size.0, size.1];
    if area.iter().any(|v| !v.is_finite()) {
        return Vec::new();
    }
    if ruling.dots { rows(at, size, ruling.spacing) } else { ruled(at, size, ruling) }
}

fn rows(at: Point, size: Point, spacing: f64) -> Vec<(Point, Point)> {
    let middle = |from: f64| (from / spacing - 0.5).ceil() * spacing + spacing / 2.0;
    let (x, right, lower) = (middle(at.0), at.0 + size.0, at.1 + size.1);
    let ys = std::iter::successors(Some(middle(at.1)), |y| Some(y + spacing)).take_while(|y| *y <= lower);
    if x <= right { ys.map(|y| ((x, y), (right, y))).collect() } else { Vec::new() }
}

fn ruled(at: Point, size: Point, ruling: Ruling) -> Vec<(Point, Point)> {
    let (sin, cos) = ruling.turn.to_radians().sin_cos();
    let corners = [(0.0, 0.0), (size.0, 0.0), (0.0, size.1), size].map(|c| (at.0 + c.0, at.1 + c.1));
    let across = corners.map(|c| c.0 * cos + c.1 * sin);
    let low = across.into_iter().fold(f64::INFINITY, f64::min);
    let high = across.into_iter().fold(f64::NEG_INFINITY, f64::max);
    // A line begins at the left edge of its cell.
    let first = (low / ruling.spacing).floor() as i64;
    let last = (high / ruling.spacing).ceil() as i64;
    (first..=last)
        .filter_map(|k| {
            let u = k as f64 * ruling.spacing + ruling.width / 2.0;
            cut((u * cos, u * sin), (-sin, cos), at, size)
        })
        .collect()
}

/// The piece of a straight line through `through` that lies in a rectangle.
fn cut(through: Point, along: Point, at: Point, size: Point) -> Option<(Point, Point)> {
    let (mut from, mut to) = (f64::NEG_INFINITY, f64::INFINITY);
    for (place, step, low, high) in
        [(through.0, along.0, at.0, at.0 + size.0), (through.1, along.1, at.1, at.1 + size.1)]
    {
        let ends = [(low - place) / step, (high - place) / step];
        from = from.max(ends[0].min(ends[1]));
        to = to.min(ends[0].max(ends[1]));
    }
    let point = |t: f64| (through.0 + t * along.0, through.1 + t * along.1);
    (from < to).then(|| (point(from), point(to)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::svg::picture::Hatch;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn every_line_stays_inside_and_ends_at_an_edge(
            x in 0.0..700.0_f64, y in 0.0..300.0_f64, width in 0.5..700.0_f64, height in 0.5..300.0_f64,
        ) {
            for hatch in Hatch::ALL {
                let inside = |p: &Point| {
                    p.0 >= x - 1e-6 && p.0 <= x + width + 1e-6 && p.1 >= y - 1e-6 && p.1 <= y + height + 1e-6
                };
                for (from, to) in lines((x, y), (width, height), hatch.ruling()) {
                    prop_assert!(inside(&from) && inside(&to), "{:?}: {:?} {:?}", hatch, from, to);
                }
            }
        }
    }

    #[test]
    fn a_square_has_the_lines_that_its_spacing_gives() {
        // Lines at 45° through 100 × 100: the diagonal is 141.4 long; 141.4 / 7 = 20.2 spacings.
        let forbidden = lines((0.0, 0.0), (100.0, 100.0), Hatch::Forbidden.ruling());
        assert!((20..=21).contains(&forbidden.len()), "{}", forbidden.len());
        // Rows of dots every 5.
        assert_eq!(lines((0.0, 0.0), (100.0, 100.0), Hatch::Gap.ruling()).len(), 20);
        assert_eq!(lines((f64::NAN, 0.0), (9.0, 9.0), Hatch::Gap.ruling()), []);
    }

    #[test]
    fn neighbours_fit_together() {
        let of = |y: f64| lines((0.0, y), (50.0, 20.0), Hatch::Finding.ruling());
        let upper: Vec<f64> =
            of(0.0).iter().flat_map(|(a, b)| [a, b]).filter(|p| p.1 > 19.999).map(|p| p.0).collect();
        let lower: Vec<f64> =
            of(20.0).iter().flat_map(|(a, b)| [a, b]).filter(|p| p.1 < 20.001).map(|p| p.0).collect();
        assert!(upper.len() > 8);
        assert!(upper.iter().all(|x| lower.iter().any(|l| (l - x).abs() < 1e-6)), "{upper:?} {lower:?}");
    }
}
