//! A throttle body as seven states, for tests alone: motor, idler and plate with two lash meshes, two preloaded springs,
//! Coulomb and Stribeck friction, stops. It follows the equations of the physics study (part B, section 1), whose numbers are
//! engineering assumptions except those of the lumped model (Loh, Thanom, Pyko, Lee, Engineering 5, 2013). It knows no rig.

use crate::analysis::statistics::Resampler;

/// Radians per degree.
pub const RAD: f64 = std::f64::consts::PI / 180.0;
/// Pinion to idler.
const N1: f64 = 45.0 / 11.0;
/// Idler to sector.
const N2: f64 = 5.0;
/// Motor to plate.
pub const GEAR: f64 = N1 * N2;
/// Plate angle between two sector teeth, degrees.
pub const PITCH_DEG: f64 = 4.0;
const TABLE_LOW_DEG: f64 = -3.0;
const TABLE_STEP_DEG: f64 = 0.05;
const TABLE_LEN: usize = 1841;

/// A function of the plate angle on a grid, radians.
#[derive(Clone)]
pub struct Table(Vec<f64>);

impl Table {
    /// From a function of degrees that gives degrees.
    pub fn of(f: impl Fn(f64) -> f64) -> Self {
        Self((0..TABLE_LEN).map(|k| f(TABLE_LOW_DEG + TABLE_STEP_DEG * k as f64) * RAD).collect())
    }

    /// Value and slope at an angle in radians.
    pub fn at(&self, rad: f64) -> (f64, f64) {
        let step = TABLE_STEP_DEG * RAD;
        let u = ((rad - TABLE_LOW_DEG * RAD) / step).clamp(0.0, (TABLE_LEN - 2) as f64);
        let j = u as usize;
        let d = self.0[j + 1] - self.0[j];
        (self.0[j] + (u - j as f64) * d, d / step)
    }
}

/// Parameters, SI units and radians; names as in the physics study, section 1.
#[derive(Clone)]
pub struct Plant {
    pub r: f64,
    pub l: f64,
    pub k: f64,
    pub kr: f64,
    pub phk: f64,
    pub rvar: f64,
    pub cog: f64,
    pub vb: f64,
    pub jm: f64,
    pub bm: f64,
    pub tcm: f64,
    pub j2: f64,
    pub tc2: f64,
    pub k1: f64,
    pub l1: f64,
    pub k2: f64,
    pub l2: f64,
    pub jp: f64,
    pub bp: f64,
    pub tcp: f64,
    pub th0: f64,
    pub tph: f64,
    pub ksh: f64,
    pub tpl: f64,
    pub ksl: f64,
    pub wpl: f64,
    pub gap: f64,
    pub tho: f64,
    pub deposit: f64,
    pub deposit_width: f64,
    pub dead_centre: f64,
    pub dead_width: f64,
    pub dead_ohm: f64,
    pub supply: f64,
    /// Pre-sliding of plate and rotor, radians of plate; 0 = friction sticks stiffly (Dahl, The Aerospace Corporation, 1968).
    pub bristle: f64,
    /// Share of the springs' torque that their own friction takes.
    pub spring_loss: f64,
    /// Share of the torque in the mesh that the gears lose.
    pub load_loss: f64,
    pub te: Table,
    pub wear_a: Table,
    pub wear_b: Table,
}

/// Current, then angle and speed of motor, idler and plate; names as in the physics study.
#[derive(Clone, Copy, Default)]
pub struct State {
    pub i: f64,
    pub thm: f64,
    pub wm: f64,
    pub th2: f64,
    pub w2: f64,
    pub th: f64,
    pub w: f64,
    /// How far the bristles of plate and rotor are bent, share of sliding.
    pub bent: [f64; 2],
}

/// What the bridge does.
#[derive(Clone, Copy, PartialEq)]
pub enum Bridge {
    /// Averaged terminal volts.
    Driven(f64),
    /// All four switches open.
    Open,
}

fn prox(v: f64, t: f64) -> f64 {
    v.signum() * (v.abs() - t).max(0.0)
}

impl Plant {
    /// The study's default part.
    pub fn standard() -> Self {
        let (j2, jp) = (2e-6, 5e-5);
        Self {
            r: 1.15,
            l: 1.5e-3,
            k: 0.383 / GEAR,
            kr: 0.03,
            phk: 0.0,
            rvar: 0.02,
            cog: 0.8e-3,
            vb: 0.15,
            jm: (0.0021 - j2 * N2 * N2 - jp) / (GEAR * GEAR),
            bm: 0.0075 / (GEAR * GEAR),
            tcm: 0.0070,
            j2,
            tc2: 0.004,
            k1: 300.0,
            l1: 0.6 * RAD,
            k2: 800.0,
            l2: 0.18 * RAD,
            jp,
            bp: 0.0013,
            tcp: 0.11,
            th0: 6.5 * RAD,
            tph: 0.396,
            ksh: 0.087,
            tpl: 0.36,
            ksl: 0.25,
            wpl: 0.15 * RAD,
            gap: 0.0,
            tho: 84.0 * RAD,
            deposit: 0.0,
            deposit_width: 1.5 * RAD,
            dead_centre: 1.0,
            dead_width: 0.0,
            dead_ohm: 0.0,
            supply: 13.0,
            bristle: 0.0,
            spring_loss: 0.0,
            load_loss: 0.0,
            te: Table::of(|_| 0.0),
            wear_a: Table::of(|_| 0.0),
            wear_b: Table::of(|_| 0.0),
        }
    }

    /// A healthy part with the study's spread.
    pub fn healthy(random: &mut Resampler) -> Self {
        let mut p = Self::standard();
        let mut g = |s: f64| 1.0 + s * random.normal().clamp(-2.5, 2.5);
        for (field, spread) in [
            (&mut p.r, 0.05),
            (&mut p.k, 0.03),
            (&mut p.l, 0.1),
            (&mut p.tcm, 0.18),
            (&mut p.tcp, 0.18),
            (&mut p.bm, 0.2),
            (&mut p.bp, 0.2),
            (&mut p.tph, 0.05),
            (&mut p.tpl, 0.05),
            (&mut p.ksh, 0.1),
            (&mut p.ksl, 0.1),
            (&mut p.k1, 0.15),
            (&mut p.k2, 0.15),
        ] {
            *field *= g(spread);
        }
        let still = 1.15 * (p.tcm * GEAR + p.tcp) + p.tc2 * N2;
        let least = p.tpl.min(p.tph) / (1.08 * still);
        if least < 1.0 {
            p.tcm *= least;
            p.tcp *= least;
        }
        let mut uniform = |a: f64, b: f64| a + (b - a) * random.uniform();
        p.l1 = uniform(0.4, 0.8) * RAD;
        p.l2 = uniform(0.10, 0.25) * RAD;
        p.kr = uniform(0.02, 0.05);
        p.phk = uniform(0.0, std::f64::consts::TAU);
        p.cog = uniform(0.3e-3, 1.2e-3);
        p.vb = uniform(0.05, 0.30);
        p.rvar = uniform(0.01, 0.04);
        p.th0 += 0.5 * RAD * random.normal().clamp(-2.0, 2.0);
        p.gap = (0.03 * random.normal()).max(0.0) * RAD;
        p.te = transmission_error(random);
        p
    }

    /// Free play at the plate at rest, degrees.
    pub fn lash_deg(&self) -> f64 {
        (self.l2 + self.l1 / N2 + self.wear_a.at(self.th0).0 + self.wear_b.at(self.th0).0) / RAD
    }

    /// EMF constant referred to the plate, V s/rad.
    pub fn emf(&self) -> f64 {
        self.k * GEAR
    }

    /// Wear of teeth, degrees of flank: pairs of tooth number (1 = 0..4°) and depth on the opening and the closing flank.
    pub fn wear(&mut self, teeth: &[(u32, f64, f64)]) {
        let of = |side: fn(&(u32, f64, f64)) -> f64| {
            Table::of(|deg| {
                teeth.iter().map(|t| side(t) * tooth(deg - (4.0 * f64::from(t.0) - 2.0))).sum::<f64>()
            })
        };
        (self.wear_a, self.wear_b) = (of(|t| t.1), of(|t| t.2));
    }

    /// At rest, motor in the middle of its play.
    pub fn rest(&self) -> State {
        State { th: self.th0, th2: self.th0 * N2, thm: self.th0 * GEAR, ..State::default() }
    }

    fn spring(&self, th: f64) -> f64 {
        let (x, g) = (th - self.th0, 0.5 * self.gap);
        if x > g {
            -(self.tph * ((x - g) / self.wpl).min(1.0) + self.ksh * (x - g))
        } else if x < -g {
            self.tpl * ((-x - g) / self.wpl).min(1.0) + self.ksl * (-x - g)
        } else {
            0.0
        }
    }

    /// One step of `h` seconds; `push` = torque on the plate from outside, N m.
    pub fn step(&self, s: &mut State, bridge: Bridge, push: f64, h: f64) {
        let (sin, cos) = (14.0 * s.thm + self.phk).sin_cos();
        let kt = self.k * (1.0 + self.kr * cos);
        let mut rt = self.r * (1.0 + self.rvar * (cos * 1.0f64.cos() - sin * 1.0f64.sin()));
        if self.dead_width > 0.0 {
            let phase = (s.thm - self.dead_centre + std::f64::consts::PI).rem_euclid(std::f64::consts::TAU)
                - std::f64::consts::PI;
            if phase.abs() < 0.5 * self.dead_width {
                rt += self.dead_ohm;
            }
        }
        match bridge {
            Bridge::Driven(u) => {
                let target = (u - kt * s.wm - self.vb * (20.0 * s.i).tanh()) / rt;
                s.i = target + (s.i - target) * (-rt * h / self.l).exp();
            }
            Bridge::Open if s.i != 0.0 => {
                let target = (-self.supply * s.i.signum() - kt * s.wm) / rt;
                let next = target + (s.i - target) * (-rt * h / self.l).exp();
                s.i = if next * s.i <= 0.0 { 0.0 } else { next };
            }
            Bridge::Open => {}
        }
        let t1 = mesh(s.thm / N1 - s.th2, s.wm / N1 - s.w2, 0.5 * self.l1, self.k1, 0.012);
        let phi = s.th2 / N2;
        let ((te, te_slope), (a, a_slope), (b, b_slope)) =
            (self.te.at(phi), self.wear_a.at(phi), self.wear_b.at(phi));
        let d2 = phi - s.th - te;
        let (ga, gb) = (0.5 * self.l2 + a, 0.5 * self.l2 + b);
        let (t2, t2_idler) = if d2 > ga {
            let cam = 1.0 - te_slope - a_slope;
            let t = (self.k2 * (d2 - ga) + 0.08 * (s.w2 / N2 * cam - s.w)).max(0.0);
            (t, t * cam)
        } else if d2 < -gb {
            let cam = 1.0 - te_slope + b_slope;
            let t = (self.k2 * (d2 + gb) + 0.08 * (s.w2 / N2 * cam - s.w)).min(0.0);
            (t, t * cam)
        } else {
            (0.0, 0.0)
        };
        let mut ts = self.spring(s.th);
        let spring = ts.abs();
        if s.th < 0.0 {
            ts += (-1500.0 * s.th - 0.15 * s.w).max(0.0);
        } else if s.th > self.tho {
            ts -= (1500.0 * (s.th - self.tho) + 0.15 * s.w).max(0.0);
        }
        let motor = self.tcm * (1.0 + 0.15 * (-(s.wm / 4.0).powi(2)).exp()) + self.load_loss * t1.abs() / N1;
        let mut plate = self.tcp * (1.0 + 0.15 * (-(s.w / 0.1).powi(2)).exp());
        plate += self.deposit * (-(s.th / self.deposit_width).powi(2)).exp();
        plate += self.spring_loss * spring;
        let (mut motor, mut plate, mut bent) = (motor, plate, [0.0; 2]);
        if self.bristle > 0.0 {
            bent = [
                dahl(&mut s.bent[0], s.w, self.bristle, h) * plate,
                dahl(&mut s.bent[1], s.wm, self.bristle * GEAR, h) * motor,
            ];
            (motor, plate) = (0.0, 0.0);
        }
        let cog = self.cog * (14.0 * s.thm).sin();
        s.wm = prox(
            s.wm + h * (kt * s.i - t1 / N1 - self.bm * s.wm + cog - bent[1]) / self.jm,
            h * motor / self.jm,
        );
        s.w2 = prox(s.w2 + h * (t1 - t2_idler / N2) / self.j2, h * self.tc2 / self.j2);
        s.w = prox(s.w + h * (t2 + ts - self.bp * s.w + push - bent[0]) / self.jp, h * plate / self.jp);
        s.thm += h * s.wm;
        s.th2 += h * s.w2;
        s.th += h * s.w;
    }
}

/// Friction of bent bristles, share of sliding, after a step: dz/dt = (w − |w|·z)/length.
fn dahl(z: &mut f64, speed: f64, length: f64, h: f64) -> f64 {
    let way = speed * h / length;
    *z = (*z + way) / (1.0 + way.abs());
    *z
}

fn mesh(d: f64, speed: f64, gap: f64, k: f64, c: f64) -> f64 {
    if d > gap {
        (k * (d - gap) + c * speed).max(0.0)
    } else if d < -gap {
        (k * (d + gap) + c * speed).min(0.0)
    } else {
        0.0
    }
}

/// 1 where one tooth carries alone, raised-cosine to 0 at half a pitch; degrees from the tooth's centre.
pub fn tooth(deg: f64) -> f64 {
    let u = deg.abs() / PITCH_DEG;
    if u < 0.2 {
        1.0
    } else if u < 0.5 {
        0.5 * (1.0 + (std::f64::consts::PI * (u - 0.2) / 0.3).cos())
    } else {
        0.0
    }
}

fn transmission_error(random: &mut Resampler) -> Table {
    let waves: Vec<(f64, f64, f64)> = [(0.035, 72.0), (0.020, 360.0 / GEAR), (0.010, 4.0), (0.006, 1.6)]
        .into_iter()
        .map(|(size, period)| {
            (size * (0.3 + 1.2 * random.uniform()), period, std::f64::consts::TAU * random.uniform())
        })
        .collect();
    let pitch: Vec<f64> = (0..24).map(|_| 0.012 * random.normal()).collect();
    Table::of(|deg| {
        let wave: f64 = waves.iter().map(|(a, p, c)| a * (std::f64::consts::TAU * deg / p + c).sin()).sum();
        let single: f64 =
            pitch.iter().enumerate().map(|(k, e)| e * tooth(deg - (2.0 + 4.0 * k as f64))).sum();
        wave + single
    })
}
