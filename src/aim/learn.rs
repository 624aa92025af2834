//! What a lamp's screws do, learned from photos before and after they were turned.
//!
//! **Takes** the turns that were made and the aim that each photo showed. **Gives** a [`Response`]: degrees a turn of each
//! screw on both axes (2 x 2: the coupling between axes is in it), and backlash, each with its uncertainty; and from it the
//! [`next`](Response::turns_to) turns. **How**: a screw with backlash is a play operator of width `b` (input: the driven end,
//! output: the housing); the aim is the first aim plus the 2 x 2 matrix times the outputs. Ten parameters (first aim, matrix,
//! widths, where in its play each screw stood) are fitted to all photos at once by Gauss-Newton with prior knowledge as further
//! observations, damped as Levenberg and Marquardt have it; the covariance is the inverse of the normal matrix (GUM 5.2, H.3).
//! **Weak when** a screw was hardly turned: its prior is what is then known. Never fails.

use super::screws::{Axis, Screws};
use nalgebra::{SMatrix, SVector};

/// First aim (h, v); degrees a turn: vertical screw on v and h, horizontal screw on h and v; backlash of both, turns; slack that
/// a clockwise turn has to take up first, as a share of the backlash, of both.
const COUNT: usize = 10;
const AIM: usize = 0;
const RATES: usize = 2;
const BACKLASH: usize = 6;
const SLACK: usize = 8;

/// Degrees a turn of a screw that nobody described: adjusters do 0.4 to 1.4 (common practice, no source), either way.
const UNKNOWN_RATE_SIGMA: f64 = 0.9;
/// A screws file is right within this share.
const STATED_RATE_SHARE: f64 = 0.3;
/// What a screw does on the other axis, degrees a turn.
const CROSS_SIGMA: f64 = 0.12;
/// Backlash of adjusters, turns (own judgement: up to a quarter turn).
const BACKLASH_PRIOR: (f64, f64) = (0.12, 0.08);
/// Where in its play a screw that nobody has turned yet stands.
const SLACK_PRIOR: (f64, f64) = (0.5, 0.3);
/// The first aim is known by its photo only.
const AIM_SIGMA_DEG: f64 = 30.0;
/// How exactly a hand turns, turns a movement.
const HAND_SIGMA_TURNS: f64 = 0.02;
/// A first turn that teaches: enough to see past the backlash.
const TEACHING_TURNS: f64 = 0.75;
/// A rate that is known to this share or better is used.
const KNOWN_SHARE: f64 = 0.45;
/// How far a counterclockwise turn goes too far before it comes back, turns: more than the backlash can be.
const OVERSHOOT_TURNS: f64 = 0.5;
/// Backlash that is worth a word: this many of its own uncertainties, turns at least.
const NOTICED_SIGMAS: f64 = 2.0;
const NOTICED_TURNS: f64 = 0.08;
const ITERATIONS: usize = 60;

/// One movement of one screw's driven end; clockwise positive, seen facing it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turned {
    /// Which screw, by the axis that it mainly moves.
    pub screw: Axis,
    /// Turns.
    pub turns: f64,
}

/// The aim that a photo showed; only what differs from photo to photo counts in its uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seen {
    /// To the right, degrees; `None`: this photo does not say.
    pub h_deg: Option<f64>,
    /// Up, degrees.
    pub v_deg: Option<f64>,
    /// Repeatability, k = 1.
    pub sigma_h_deg: f64,
    /// Repeatability, k = 1.
    pub sigma_v_deg: f64,
}

/// What is known of the two screws.
#[derive(Debug, Clone, PartialEq)]
pub struct Response {
    parameters: SVector<f64, COUNT>,
    covariance: SMatrix<f64, COUNT, COUNT>,
    /// Slack that a clockwise turn has to take up now, turns: vertical, horizontal.
    slack_now: [f64; 2],
}

/// A value with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    /// The value.
    pub value: f64,
    /// k = 1.
    pub sigma: f64,
}

/// The play of one screw.
#[derive(Debug, Clone, Copy)]
struct Play {
    width: f64,
    /// What a clockwise turn has to take up before the housing follows.
    slack: f64,
}

impl Play {
    /// Turns the driven end; what the housing follows.
    fn turn(&mut self, turns: f64) -> f64 {
        if turns >= 0.0 {
            let lost = turns.min(self.slack);
            self.slack -= lost;
            turns - lost
        } else {
            let lost = (-turns).min(self.width - self.slack);
            self.slack += lost;
            turns + lost
        }
    }
}

fn number(axis: Axis) -> usize {
    match axis {
        Axis::Vertical => 0,
        Axis::Horizontal => 1,
    }
}

/// Where each parameter stands before any photo, and how sure that is.
fn prior(screws: Option<&Screws>) -> (SVector<f64, COUNT>, SVector<f64, COUNT>) {
    let mut mean = SVector::<f64, COUNT>::zeros();
    let mut sigma = SVector::<f64, COUNT>::repeat(AIM_SIGMA_DEG);
    for axis in [Axis::Vertical, Axis::Horizontal] {
        let k = number(axis);
        let screw = screws.and_then(|screws| screws.for_axis(axis));
        let stated = screw.map(|screw| screw.per_turn.get() * if screw.is_clockwise_positive { 1.0 } else { -1.0 });
        mean[RATES + 2 * k] = stated.unwrap_or(0.0);
        sigma[RATES + 2 * k] = stated.map_or(UNKNOWN_RATE_SIGMA, |rate| STATED_RATE_SHARE * rate.abs());
        sigma[RATES + 2 * k + 1] = CROSS_SIGMA;
        (mean[BACKLASH + k], sigma[BACKLASH + k]) = BACKLASH_PRIOR;
        (mean[SLACK + k], sigma[SLACK + k]) = SLACK_PRIOR;
    }
    (mean, sigma)
}

/// The aim after each photo's turns, and the slack at the end.
fn course(p: &SVector<f64, COUNT>, moves: &[Vec<Turned>]) -> (Vec<[f64; 2]>, [f64; 2]) {
    let mut plays = [0, 1].map(|k| {
        let width = p[BACKLASH + k].max(0.0);
        Play { width, slack: width * p[SLACK + k].clamp(0.0, 1.0) }
    });
    let mut aim = [p[AIM], p[AIM + 1]];
    let mut places = vec![aim];
    for turned in moves {
        for part in turned {
            let k = number(part.screw);
            let followed = plays[k].turn(part.turns);
            let (main, cross) = (p[RATES + 2 * k] * followed, p[RATES + 2 * k + 1] * followed);
            // The main axis of the vertical screw is V, aim[1].
            aim[1 - k] += main;
            aim[k] += cross;
        }
        places.push(aim);
    }
    (places, plays.map(|play| play.slack))
}

/// Learns from `seen`, the first photo and one after each of `moves`.
pub fn learn(screws: Option<&Screws>, moves: &[Vec<Turned>], seen: &[Seen]) -> Response {
    let (mean, sigma) = prior(screws);
    let first = seen.first();
    let mut p = mean;
    p[AIM] = first.and_then(|seen| seen.h_deg).unwrap_or(0.0);
    p[AIM + 1] = first.and_then(|seen| seen.v_deg).unwrap_or(0.0);
    let residuals = |p: &SVector<f64, COUNT>| -> Vec<f64> {
        let (places, _) = course(p, moves);
        let mut list: Vec<f64> = (0..COUNT).map(|i| (p[i] - mean[i]) / sigma[i]).collect();
        for (k, (place, seen)) in places.iter().zip(seen).enumerate() {
            // What a hand misses adds up over the movements so far; a share of it stands for the whole.
            let hand = HAND_SIGMA_TURNS * (k as f64).sqrt();
            let of = |rate: usize, sigma: f64| sigma.hypot(hand * p[rate].abs());
            list.extend(seen.h_deg.map(|h| (h - place[0]) / of(RATES + 2, seen.sigma_h_deg)));
            list.extend(seen.v_deg.map(|v| (v - place[1]) / of(RATES, seen.sigma_v_deg)));
        }
        list
    };
    let (p, normal) = settle(p, &residuals);
    let covariance = normal.try_inverse().unwrap_or_else(|| SMatrix::from_diagonal(&sigma.map(|s| s * s)));
    let (_, slack_now) = course(&p, moves);
    Response { parameters: p, covariance, slack_now }
}

/// Least squares from `p`; gives the place and the normal matrix there.
fn settle(
    mut p: SVector<f64, COUNT>,
    residuals: &dyn Fn(&SVector<f64, COUNT>) -> Vec<f64>,
) -> (SVector<f64, COUNT>, SMatrix<f64, COUNT, COUNT>) {
    const STEP: f64 = 1e-5;
    let cost = |list: &[f64]| list.iter().map(|r| r * r).sum::<f64>();
    let mut damping = 1e-3;
    let mut at = residuals(&p);
    let mut normal = SMatrix::<f64, COUNT, COUNT>::identity();
    for _ in 0..ITERATIONS {
        let slopes: Vec<Vec<f64>> = (0..COUNT)
            .map(|i| {
                let (mut up, mut down) = (p, p);
                up[i] += STEP;
                down[i] -= STEP;
                residuals(&up).iter().zip(residuals(&down)).map(|(a, b)| (a - b) / (2.0 * STEP)).collect()
            })
            .collect();
        normal = SMatrix::from_fn(|i, j| slopes[i].iter().zip(&slopes[j]).map(|(a, b)| a * b).sum());
        let gradient = SVector::<f64, COUNT>::from_fn(|i, _| slopes[i].iter().zip(&at).map(|(a, r)| a * r).sum());
        let mut damped = normal;
        for i in 0..COUNT {
            damped[(i, i)] *= 1.0 + damping;
        }
        let Some(step) = damped.lu().solve(&gradient) else { break };
        let mut next = p - step;
        for k in 0..2 {
            next[BACKLASH + k] = next[BACKLASH + k].clamp(0.0, 0.5);
            next[SLACK + k] = next[SLACK + k].clamp(0.0, 1.0);
        }
        let after = residuals(&next);
        if cost(&after) < cost(&at) {
            let is_done = (next - p).norm() < 1e-9;
            (p, at) = (next, after);
            damping = (damping * 0.2).max(1e-9);
            if is_done {
                break;
            }
        } else {
            damping *= 8.0;
            if damping > 1e9 {
                break;
            }
        }
    }
    (p, normal)
}

impl Response {
    /// Degrees a clockwise turn of `screw` moves the beam along `axis`, up or right positive.
    pub fn rate(&self, screw: Axis, axis: Axis) -> Known {
        let k = number(screw);
        self.known(RATES + 2 * k + usize::from(screw != axis))
    }

    /// Backlash of a screw, turns.
    pub fn backlash(&self, screw: Axis) -> Known {
        self.known(BACKLASH + number(screw))
    }

    /// Backlash that the photos have shown, beyond what is assumed of any screw.
    pub fn noticed_backlash(&self, screw: Axis) -> Option<Known> {
        let known = self.backlash(screw);
        let is_seen =
            known.value > NOTICED_TURNS.max(NOTICED_SIGMAS * known.sigma) && known.sigma < 0.8 * BACKLASH_PRIOR.1;
        is_seen.then_some(known)
    }

    fn known(&self, i: usize) -> Known {
        Known { value: self.parameters[i], sigma: self.covariance[(i, i)].max(0.0).sqrt() }
    }

    /// Whether a screw's main rate is known well enough to be used.
    pub fn is_known(&self, screw: Axis) -> bool {
        let rate = self.rate(screw, screw);
        rate.sigma < KNOWN_SHARE * rate.value.abs()
    }

    /// The movements that bring the beam by (`h_deg`, `v_deg`); `None`: that axis is to be left where it is. A screw whose rate is
    /// not known yet is turned to learn it; the last movement of every screw is clockwise.
    pub fn turns_to(&self, by_h_deg: Option<f64>, by_v_deg: Option<f64>) -> Vec<Turned> {
        let screws = [Axis::Vertical, Axis::Horizontal];
        let wanted = [by_v_deg, by_h_deg];
        let is_used = [0, 1].map(|k| wanted[k].is_some() && self.is_known(screws[k]));
        let follow = self.follow(wanted, is_used);
        let mut list = Vec::new();
        for (k, screw) in screws.into_iter().enumerate() {
            if wanted[k].is_none() {
                continue;
            }
            if !is_used[k] {
                list.push(Turned { screw, turns: TEACHING_TURNS });
                continue;
            }
            let driven = to_hand(follow[k] + self.slack_now[k]);
            if driven > 0.0 {
                list.push(Turned { screw, turns: driven });
            } else if driven < 0.0 {
                list.push(Turned { screw, turns: driven - OVERSHOOT_TURNS });
                list.push(Turned { screw, turns: OVERSHOOT_TURNS });
            }
        }
        list
    }

    /// What each housing must follow, turns: both screws together where both are used, else one against its own axis.
    fn follow(&self, wanted: [Option<f64>; 2], is_used: [bool; 2]) -> [f64; 2] {
        let p = &self.parameters;
        let (vv, vh, hh, hv) = (p[RATES], p[RATES + 1], p[RATES + 2], p[RATES + 3]);
        let [v, h] = wanted.map(|by| by.unwrap_or(0.0));
        let determinant = vv * hh - vh * hv;
        match is_used {
            [true, true] if determinant.abs() > 1e-6 => {
                [(v * hh - h * hv) / determinant, (h * vv - v * vh) / determinant]
            }
            [is_v, is_h] => [if is_v { v / vv } else { 0.0 }, if is_h { h / hh } else { 0.0 }],
        }
    }
}

/// Turns as a hand can make and name them: eighths.
fn to_hand(turns: f64) -> f64 {
    (turns * 8.0).round() / 8.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_like::Random;

    /// A small generator for simulated lamps (64-bit xorshift with multiplication, Vigna 2016; from memory).
    mod rand_like {
        pub(super) struct Random(pub(super) u64);
        impl Random {
            pub(super) fn uniform(&mut self, from: f64, to: f64) -> f64 {
                self.0 ^= self.0 >> 12;
                self.0 ^= self.0 << 25;
                self.0 ^= self.0 >> 27;
                let bits = self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11;
                from + (to - from) * bits as f64 / (1u64 << 53) as f64
            }
            pub(super) fn normal(&mut self, sigma: f64) -> f64 {
                let (u, v) = (self.uniform(1e-12, 1.0), self.uniform(0.0, 1.0));
                sigma * (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
            }
        }
    }

    struct Lamp {
        aim: [f64; 2],
        rates: [[f64; 2]; 2],
        plays: [Play; 2],
    }

    impl Lamp {
        fn random(random: &mut Random) -> Self {
            let mut rates = [[0.0; 2]; 2];
            let mut plays = [Play { width: 0.0, slack: 0.0 }; 2];
            for k in 0..2 {
                let sign = if random.uniform(0.0, 1.0) < 0.5 { -1.0 } else { 1.0 };
                let main = sign * random.uniform(0.38, 1.43);
                rates[k] = [main, main * random.uniform(-0.2, 0.2)];
                let width = random.uniform(0.0, 0.25);
                plays[k] = Play { width, slack: random.uniform(0.0, width) };
            }
            Self { aim: [random.uniform(-1.5, 1.5), random.uniform(-1.5, 1.5)], rates, plays }
        }

        fn turn(&mut self, part: Turned, random: &mut Random) {
            let k = number(part.screw);
            let followed = self.plays[k].turn(part.turns + random.normal(HAND_SIGMA_TURNS));
            self.aim[1 - k] += self.rates[k][0] * followed;
            self.aim[k] += self.rates[k][1] * followed;
        }

        fn seen(&self, random: &mut Random) -> Seen {
            let (sigma_h_deg, sigma_v_deg) = (0.05, 0.02);
            Seen {
                h_deg: Some(self.aim[0] + random.normal(sigma_h_deg)),
                v_deg: Some(self.aim[1] + random.normal(sigma_v_deg)),
                sigma_h_deg,
                sigma_v_deg,
            }
        }
    }

    /// The workshop's limits: 2 in at 25 ft, degrees.
    const LIMIT_DEG: f64 = 0.382;

    /// Moves that a random lamp needs, of screws that nobody described; 4 stands for more than 3.
    fn moves_needed(seed: u64) -> usize {
        let mut random = Random(0x9E37_79B9_7F4A_7C15 ^ (seed + 1).wrapping_mul(0xD134_2543_DE82_EF95));
        let mut lamp = Lamp::random(&mut random);
        let (mut moves, mut seen) = (Vec::new(), vec![lamp.seen(&mut random)]);
        for made in 0..=3 {
            if lamp.aim.iter().all(|aim| aim.abs() <= LIMIT_DEG) {
                return made;
            }
            let response = learn(None, &moves, &seen);
            let last = seen.last().unwrap();
            let turned = response.turns_to(last.h_deg.map(|h| -h), last.v_deg.map(|v| -v));
            for part in &turned {
                lamp.turn(*part, &mut random);
            }
            moves.push(turned);
            seen.push(lamp.seen(&mut random));
        }
        4
    }

    #[test]
    fn unknown_screws_are_aimed_in_three_moves_with_learning_counted() {
        let needed: Vec<usize> = (0..200).map(moves_needed).collect();
        let within = needed.iter().filter(|moves| **moves <= 3).count();
        let count = |n| needed.iter().filter(|moves| **moves == n).count();
        assert!(within >= 190, "{within} of 200; by moves {:?}", [count(0), count(1), count(2), count(3), count(4)]);
    }

    /// Worked by hand: a turn moved the beam by (0.1, 0.6), with a screw that has no play: rate 0.6, cross 0.1.
    #[test]
    fn one_clean_turn_is_learned_as_it_is() {
        let seen = |h, v| Seen { h_deg: Some(h), v_deg: Some(v), sigma_h_deg: 0.001, sigma_v_deg: 0.001 };
        let turn = |turns| vec![Turned { screw: Axis::Vertical, turns }];
        // Ends clockwise both times, so that the second move has no play to take up.
        let response = learn(None, &[turn(1.0), turn(2.0)], &[seen(0.0, -1.0), seen(0.1, -0.4), seen(0.3, 0.8)]);
        let (main, cross) =
            (response.rate(Axis::Vertical, Axis::Vertical), response.rate(Axis::Vertical, Axis::Horizontal));
        assert!((main.value - 0.6).abs() < 0.03 && (cross.value - 0.1).abs() < 0.03, "{main:?} {cross:?}");
        assert!(response.is_known(Axis::Vertical) && !response.is_known(Axis::Horizontal));
    }

    /// A reversal that moves less: one turn clockwise, again one, then one back that moves 0.2 turns' worth less.
    #[test]
    fn backlash_is_noticed_when_a_reversal_moves_less() {
        let seen = |v| Seen { h_deg: Some(0.0), v_deg: Some(v), sigma_h_deg: 0.005, sigma_v_deg: 0.005 };
        let turn = |turns| vec![Turned { screw: Axis::Vertical, turns }];
        let moves = [turn(1.0), turn(1.0), turn(-1.0)];
        let with = learn(None, &moves, &[seen(0.0), seen(0.8), seen(1.8), seen(1.0)]);
        let noticed = with.noticed_backlash(Axis::Vertical).unwrap();
        assert!((noticed.value - 0.2).abs() < 0.04, "{noticed:?}");
        let without = learn(None, &moves, &[seen(0.0), seen(1.0), seen(2.0), seen(1.0)]);
        assert!(without.noticed_backlash(Axis::Vertical).is_none(), "{:?}", without.backlash(Axis::Vertical));
    }

    #[test]
    fn the_last_movement_is_clockwise_and_goes_past_any_play() {
        let seen = |v| Seen { h_deg: Some(0.0), v_deg: Some(v), sigma_h_deg: 0.005, sigma_v_deg: 0.005 };
        let turn = |turns| vec![Turned { screw: Axis::Vertical, turns }];
        let response = learn(None, &[turn(1.0), turn(1.0)], &[seen(0.0), seen(0.8), seen(1.6)]);
        for by in [-1.0, 1.0] {
            let turned = response.turns_to(None, Some(by));
            assert!(turned.last().unwrap().turns > 0.0 && turned.iter().all(|part| part.screw == Axis::Vertical));
            let net: f64 = turned.iter().map(|part| part.turns).sum();
            assert!((net - by / 0.8).abs() < 0.15, "{turned:?}");
        }
        assert_eq!(response.turns_to(Some(0.4), None), [Turned { screw: Axis::Horizontal, turns: TEACHING_TURNS }]);
    }
}
