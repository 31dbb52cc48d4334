//! Tables against published data.

use super::*;

/// AIAG, Measurement Systems Analysis: 10 parts, 3 appraisers, 3 trials; data and sums read and recomputed in the project's references.
pub(in crate::gauge) fn aiag() -> Crossed {
    #[rustfmt::skip]
    let values = vec![
        0.29, 0.41, 0.64, 0.08, 0.25, 0.07, 0.04, -0.11, -0.15,
        -0.56, -0.68, -0.58, -0.47, -1.22, -0.68, -1.38, -1.13, -0.96,
        1.34, 1.17, 1.27, 1.19, 0.94, 1.34, 0.88, 1.09, 0.67,
        0.47, 0.5, 0.64, 0.01, 1.03, 0.2, 0.14, 0.2, 0.11,
        -0.8, -0.92, -0.84, -0.56, -1.2, -1.28, -1.46, -1.07, -1.45,
        0.02, -0.11, -0.21, -0.2, 0.22, 0.06, -0.29, -0.67, -0.49,
        0.59, 0.75, 0.66, 0.47, 0.55, 0.83, 0.02, 0.01, 0.21,
        -0.31, -0.2, -0.17, -0.63, 0.08, -0.34, -0.46, -0.56, -0.49,
        2.26, 1.99, 2.01, 1.8, 2.12, 2.19, 1.77, 1.45, 1.87,
        -1.36, -1.25, -1.31, -1.68, -1.62, -1.5, -1.49, -1.77, -2.16,
    ];
    Crossed::new(10, 3, 3, values).unwrap()
}

/// To the digits that are published, here all that `written` has.
#[track_caller]
fn shows(value: f64, written: &str) {
    let decimals = written.split('.').nth(1).map_or(0, str::len);
    assert_eq!(format!("{value:.decimals$}"), written);
}

// AIAG 10 × 3 × 3, sums of squares, F and the pooled model: REFERENCES.md, read and recomputed.
#[test]
fn the_trades_own_example_comes_out_to_its_last_digit() {
    let full = Anova::full(&aiag(), Mountings::Crossed);
    let ss: Vec<f64> = full.rows.iter().map(|r| r.ss).collect();
    for (ss, written) in ss.iter().zip(["88.36193", "3.167262", "0.358982", "2.758933", "94.64711"]) {
        shows(*ss, written);
    }
    assert_eq!(full.rows.iter().map(|r| r.df).collect::<Vec<_>>(), [9, 2, 18, 60, 89]);
    shows(full.rows[0].f.unwrap(), "492.291");
    shows(full.rows[1].f.unwrap(), "79.406");
    shows(full.rows[2].f.unwrap(), "0.434");
    shows(full.rows[2].p.unwrap(), "0.97411");

    let pooled = full.pooled().expect("the interaction is not significant");
    let c = pooled.components(pooled.mean_squares());
    shows(c.repeatability.sqrt(), "0.199933");
    shows(c.mounting.sqrt(), "0.226838");
    shows(c.gauge().sqrt(), "0.302372");
    shows(c.part.sqrt(), "1.042327");
    shows(c.total().sqrt(), "1.085300");
    shows(100.0 * (c.gauge() / c.total()).sqrt(), "27.861");
    shows(1.41 * (c.part / c.gauge()).sqrt(), "4.86");

    // The full model of the same data, computed independently.
    let c = full.components(full.mean_squares());
    shows(c.repeatability.sqrt(), "0.214435");
    shows(c.mounting.sqrt(), "0.228304");
    assert_eq!(c.interaction, 0.0);
    shows(c.gauge().sqrt(), "0.313217");
    shows(c.part.sqrt(), "1.043395");
    shows(100.0 * (c.gauge() / c.total()).sqrt(), "28.752");
}

/// NIST/SEMATECH e-Handbook 3.2.3.3, "two-way nested ANOVA": five machines, operator by day and by night, five pins, inches (data and table from
/// memory).
fn pins() -> Crossed {
    #[rustfmt::skip]
    let values = vec![
        0.125, 0.127, 0.125, 0.126, 0.128, 0.124, 0.128, 0.127, 0.126, 0.129,
        0.118, 0.122, 0.120, 0.124, 0.119, 0.116, 0.125, 0.119, 0.125, 0.120,
        0.123, 0.125, 0.125, 0.124, 0.126, 0.122, 0.121, 0.124, 0.126, 0.125,
        0.126, 0.128, 0.126, 0.127, 0.129, 0.126, 0.129, 0.125, 0.130, 0.124,
        0.118, 0.129, 0.127, 0.120, 0.121, 0.125, 0.123, 0.114, 0.124, 0.117,
    ];
    Crossed::new(5, 2, 5, values).unwrap()
}

#[test]
fn the_handbooks_nested_example_comes_out() {
    let nested = Anova::full(&pins(), Mountings::Nested);
    assert_eq!(nested.rows.iter().map(|r| r.df).collect::<Vec<_>>(), [4, 5, 40, 49]);
    shows(nested.rows[0].ss, "0.000303");
    shows(1e3 * nested.rows[1].ss, "0.0186");
    shows(nested.rows[2].ss, "0.000346");
    shows(1e3 * nested.rows[0].ms.unwrap(), "0.0758");
    // The handbook's F, 20.38 and 0.428, are those of its rounded mean squares.
    assert!(
        (nested.rows[0].f.unwrap() - 20.38).abs() < 0.05 && (nested.rows[1].f.unwrap() - 0.428).abs() < 0.003
    );
    // Not significant at 25 %: counted as repeatability.
    let pooled = nested.pooled().unwrap();
    assert_eq!((pooled.rows.len(), pooled.rows[1].df, pooled.pooled), (3, 45, Some(Source::Mounting)));
}

// NIST Statistical Reference Datasets, one-way analysis of variance (public domain): certified F, by how many digits the readings share.
#[test]
fn certified_f_of_nist_comes_out_to_the_digits_that_the_readings_have() {
    let instruments = include_str!("../../../../tests/data/nist/SiRstv.dat");
    check(instruments, [5, 5], 1.180_462_374_402_55, 9.0);
    check(include_str!("../../../../tests/data/nist/SmLs01.dat"), [9, 21], 21.0, 12.0);
    check(include_str!("../../../../tests/data/nist/SmLs04.dat"), [9, 21], 21.0, 8.0);
    // Readings of 1e12 and some tenths: the tenths themselves have four digits in 64 bits.
    check(include_str!("../../../../tests/data/nist/SmLs07.dat"), [9, 21], 21.0, 2.0);
}

#[track_caller]
fn check(file: &str, [groups, repeats]: [usize; 2], certified: f64, least: f64) {
    let lines = file.lines().skip_while(|l| !l.starts_with("Data:")).skip(1);
    // The head has a "Data:" of its own, whose lines are not two numbers.
    let row = |line: &str| {
        let mut cells = line.split_whitespace().map(str::parse::<f64>);
        match (cells.next(), cells.next(), cells.next()) {
            (Some(Ok(_)), Some(Ok(value)), None) => Some(value),
            _ => None,
        }
    };
    let data = Crossed::new(groups, 1, repeats, lines.filter_map(row).collect()).unwrap();
    let f = Anova::full(&data, Mountings::Nested).rows[0].f.unwrap();
    let digits = -((f - certified).abs() / certified).max(1e-16).log10();
    assert!(digits > least, "{f}: {digits} digits");
}

#[test]
fn readings_without_any_spread_have_no_f_and_nothing_to_contribute() {
    let flat = Anova::full(&Crossed::new(3, 2, 2, vec![5.0; 12]).unwrap(), Mountings::Nested);
    assert!(flat.rows.iter().all(|r| r.f.is_none() && r.ss == 0.0) && flat.pooled().is_none());
    assert_eq!(flat.components(flat.mean_squares()).total(), 0.0);
}
