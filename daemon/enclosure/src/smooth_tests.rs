use super::*;
use crate::filter::{Fade, Gaussian};
use proptest::prelude::*;

/// States of the random systems: the first two lean to an anchor, the last two fade.
const STATES: usize = 6;
const FADES: [(usize, f64, f64); 2] = [(4, 600.0, 0.5), (5, 4000.0, 0.3)];
const SDS: [f64; STATES] = [1.0, 0.4, 2.0, 0.7, 0.8, 0.3];

/// The same system, wholly written out: every state is a constant and a sum of independent normal numbers of variance 1,
/// and everything measured is conditioned on at once.
struct Batch {
    /// By state.
    constants: Vec<f64>,
    sums: Vec<Vec<f64>>,
    /// How many normal numbers there are.
    normals: usize,
    /// Sum, how far the value lies from its mean, variance of the noise.
    measured: Vec<(Vec<f64>, f64, f64)>,
    anchor: Option<(Vec<f64>, Vec<Vec<f64>>)>,
    marked: Vec<Vec<(Vec<f64>, f64)>>,
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

fn add(to: &mut Vec<f64>, from: &[f64], by: f64) {
    to.resize(to.len().max(from.len()), 0.0);
    to.iter_mut().zip(from).for_each(|(t, f)| *t += by * f);
}

/// Lower triangle L with A = LLᵀ.
fn cholesky(a: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let n = a.len();
    let mut l = alloc::vec![alloc::vec![0.0; n]; n];
    for i in 0..n {
        for j in 0..=i {
            let rest = a[i][j] - (0..j).map(|k| l[i][k] * l[j][k]).sum::<f64>();
            l[i][j] = if i == j { libm::sqrt(rest.max(0.0)) } else { rest / l[j][j] };
        }
    }
    l
}

/// A⁻¹b by that triangle.
fn solve(l: &[Vec<f64>], b: &[f64]) -> Vec<f64> {
    let n = b.len();
    let mut x = b.to_vec();
    for i in 0..n {
        x[i] = (x[i] - (0..i).map(|k| l[i][k] * x[k]).sum::<f64>()) / l[i][i];
    }
    for i in (0..n).rev() {
        x[i] = (x[i] - (i + 1..n).map(|k| l[k][i] * x[k]).sum::<f64>()) / l[i][i];
    }
    x
}

impl Batch {
    fn new() -> Self {
        let mut this = Self {
            constants: alloc::vec![0.0; STATES],
            sums: alloc::vec![Vec::new(); STATES],
            normals: 0,
            measured: Vec::new(),
            anchor: None,
            marked: Vec::new(),
        };
        (0..STATES).for_each(|i| this.noise(i, SDS[i]));
        this
    }

    fn noise(&mut self, state: usize, sd: f64) {
        self.sums[state].resize(self.normals + 1, 0.0);
        self.sums[state][self.normals] = sd;
        self.normals += 1;
    }

    /// The anchor is what the filter held then: its numbers are the system's, not data.
    fn tie(&mut self, g: &Gaussian, count: usize) {
        let cov: Vec<Vec<f64>> = (0..count).map(|i| (0..count).map(|j| g.covariance(i, j)).collect()).collect();
        self.anchor = Some((g.mean[..count].to_vec(), cholesky(&cov)));
    }

    fn fade(&mut self, dt_s: f64, lean_s: f64) {
        if let Some((mean, l)) = self.anchor.clone() {
            let keep = libm::exp(-dt_s / lean_s);
            let from = self.normals;
            self.normals += mean.len();
            for (i, to) in mean.iter().enumerate() {
                self.constants[i] = to + keep * (self.constants[i] - to);
                self.sums[i].iter_mut().for_each(|c| *c *= keep);
                self.sums[i].resize(self.normals, 0.0);
                for (j, c) in l[i].iter().enumerate() {
                    self.sums[i][from + j] = c * libm::sqrt(1.0 - keep * keep);
                }
            }
        }
        for (state, time_s, sd) in FADES {
            let keep = libm::exp(-dt_s / time_s);
            self.constants[state] *= keep;
            self.sums[state].iter_mut().for_each(|c| *c *= keep);
            self.noise(state, sd * libm::sqrt(1.0 - keep * keep));
        }
    }

    fn shift(&mut self, first: usize, count: usize, share: f64, variance: f64) {
        let old = (self.constants[first], self.sums[first].clone());
        self.constants[first..first + count].rotate_right(1);
        self.sums[first..first + count].rotate_right(1);
        self.constants[first] = share * old.0;
        self.sums[first] = old.1.iter().map(|c| share * c).collect();
        self.noise(first, libm::sqrt(variance));
    }

    fn row(&self, h: &[f64]) -> (Vec<f64>, f64) {
        let mut sum = Vec::new();
        h.iter().zip(&self.sums).for_each(|(x, s)| add(&mut sum, s, *x));
        (sum, dot(h, &self.constants))
    }

    /// Mean and variance of every marked row, all of the data given.
    fn conditioned(&self) -> Vec<Vec<(f64, f64)>> {
        let padded = |v: &[f64]| {
            let mut v = v.to_vec();
            v.resize(self.normals, 0.0);
            v
        };
        let rows: Vec<Vec<f64>> = self.measured.iter().map(|m| padded(&m.0)).collect();
        let gram: Vec<Vec<f64>> = rows
            .iter()
            .enumerate()
            .map(|(i, a)| {
                let noise = |j: usize| if i == j { self.measured[i].2 } else { 0.0 };
                rows.iter().enumerate().map(|(j, b)| dot(a, b) + noise(j)).collect()
            })
            .collect();
        let l = cholesky(&gram);
        let off: Vec<f64> = self.measured.iter().map(|m| m.1).collect();
        let weights = solve(&l, &off);
        let one = |(sum, constant): &(Vec<f64>, f64)| {
            let sum = padded(sum);
            let cross: Vec<f64> = rows.iter().map(|r| dot(r, &sum)).collect();
            (constant + dot(&cross, &weights), dot(&sum, &sum) - dot(&cross, &solve(&l, &cross)))
        };
        self.marked.iter().map(|rows| rows.iter().map(one).collect()).collect()
    }
}

/// What may happen to a system.
#[derive(Clone, Debug)]
enum Op {
    Fade(f64),
    Tie(usize, f64),
    Shear(usize, usize, f64),
    Widen(usize, f64),
    Renew(usize, f64),
    Shift(f64, f64),
    Adopt(usize, f64),
    Measure(Vec<f64>, f64, f64),
    Mark(Vec<f64>),
}

fn op() -> impl Strategy<Value = Op> {
    let row = || proptest::collection::vec(-1.5..1.5f64, STATES);
    prop_oneof![
        3 => (1.0..3000.0f64).prop_map(Op::Fade),
        1 => (1..3usize, 500.0..9000.0f64).prop_map(|(count, s)| Op::Tie(count, s)),
        1 => (0..STATES, 1..STATES, -1.0..1.0f64).prop_map(|(to, on, by)| Op::Shear(to, (to + on) % STATES, by)),
        1 => (0..STATES, 0.0..0.5f64).prop_map(|(i, v)| Op::Widen(i, v)),
        1 => (0..STATES, 0.1..2.0f64).prop_map(|(i, v)| Op::Renew(i, v)),
        1 => (-0.9..0.9f64, 0.05..1.0f64).prop_map(|(share, v)| Op::Shift(share, v)),
        1 => (1..4usize, -1.0..1.0f64).prop_map(|(count, at)| Op::Adopt(count, at)),
        8 => (row(), -3.0..3.0f64, 0.02..1.0f64).prop_map(|(h, y, r)| Op::Measure(h, y, r)),
        3 => row().prop_map(Op::Mark),
    ]
}

fn start() -> Gaussian {
    let fades = FADES.iter().map(|(state, time_s, sd)| Fade { state: *state, time_s: *time_s, sd: *sd }).collect();
    let mut g = Gaussian::new(&SDS, fades);
    g.record();
    g
}

/// States of another belief to adopt, joint but for the rest of it.
fn other(at: f64) -> Gaussian {
    let mut o = Gaussian::new(&SDS, Vec::new());
    o.mean.iter_mut().enumerate().for_each(|(i, m)| *m = at * (1.0 + i as f64));
    let h = [1.0, -0.5, 0.3, 0.0, 0.0, 0.0];
    let e = o.expect(&h, 0.2);
    o.absorb(&e, 0.4);
    o
}

/// Mean and variance of each mark.
type Marks = Vec<(f64, f64)>;

/// Lives through `ops` both ways; what the filter believed at each mark, what it believes with hindsight, and what all the
/// data say.
fn live(ops: &[Op]) -> (Marks, Marks, Marks) {
    let (mut g, mut b) = (start(), Batch::new());
    let (mut lean_s, mut then) = (1.0, Marks::new());
    for op in ops {
        match op {
            Op::Fade(dt_s) => {
                g.fade(*dt_s);
                b.fade(*dt_s, lean_s);
            }
            Op::Tie(count, s) => {
                b.tie(&g, *count);
                g.tie(*count, *s);
                lean_s = *s;
            }
            Op::Shear(to, from, by) => {
                g.shear(*to, *from, *by);
                let (sum, constant) = (b.sums[*from].clone(), b.constants[*from]);
                add(&mut b.sums[*to], &sum, *by);
                b.constants[*to] += by * constant;
            }
            Op::Widen(i, v) => {
                g.widen(*i, *v);
                b.noise(*i, libm::sqrt(*v));
            }
            Op::Renew(i, v) => {
                g.renew(*i, *v);
                (b.constants[*i], b.sums[*i]) = (0.0, Vec::new());
                b.noise(*i, libm::sqrt(*v));
            }
            Op::Shift(share, v) => {
                g.shift(1, 3, *share, *v);
                b.shift(1, 3, *share, *v);
            }
            Op::Adopt(count, at) => {
                let o = other(*at);
                g.adopt(&o, *count);
                let cov: Vec<Vec<f64>> =
                    (0..*count).map(|i| (0..*count).map(|j| o.covariance(i, j)).collect()).collect();
                for (i, row) in cholesky(&cov).into_iter().enumerate() {
                    b.constants[i] = o.mean[i];
                    b.sums[i] = alloc::vec![0.0; b.normals];
                    b.sums[i].extend(row);
                }
                b.normals += count;
            }
            Op::Measure(h, y, r) => {
                let e = g.expect(h, *r);
                let surprise = y - e.value;
                g.absorb_row(h, &e, surprise);
                let (sum, constant) = b.row(h);
                b.measured.push((sum, y - constant, *r));
            }
            Op::Mark(h) => {
                let variance = g.mark(core::slice::from_ref(h))[0];
                then.push((dot(h, &g.mean), variance));
                let row = b.row(h);
                b.marked.push(alloc::vec![row]);
            }
        }
    }
    let looked: Vec<Looked> = g.look_back(true).into_iter().flatten().collect();
    let now = then.iter().zip(&looked).map(|((mean, _), l)| (mean + l.shift, l.variance)).collect();
    (then, now, b.conditioned().into_iter().flatten().collect())
}

proptest! {
    /// Hindsight is what all of the data say at once, whatever happened to the states.
    #[test]
    fn hindsight_is_what_all_data_say_at_once(ops in proptest::collection::vec(op(), 1..45)) {
        let (then, now, all) = live(&ops);
        prop_assert_eq!((then.len(), now.len()), (all.len(), all.len()));
        for (((_, before), (mean, variance)), (want_mean, want_variance)) in then.iter().zip(&now).zip(&all) {
            prop_assert!((mean - want_mean).abs() < 1e-8 * (1.0 + want_mean.abs()), "{} for {}", mean, want_mean);
            prop_assert!((variance - want_variance).abs() < 1e-8, "{} for {}", variance, want_variance);
            prop_assert!(*variance <= before + 1e-12, "{} after {}", variance, before);
        }
    }
}

fn said(g: &mut Gaussian, h: &[f64], y: f64, noise: f64) {
    let e = g.expect(h, noise);
    let surprise = y - e.value;
    g.absorb_row(h, &e, surprise);
}

/// What is no measurement by a row, and no course of its own, cuts: before it all is as it was believed then.
#[test]
fn hindsight_does_not_reach_across_what_it_cannot_follow() {
    let h = [1.0, 0.2, 0.0, 0.0, 1.0, 1.0];
    let cuts: [&dyn Fn(&mut Gaussian); 4] = [&|g| g.cut(), &|g| g.narrow(3, 0.5), &|g| g.append(&[0.3]), &|g| {
        let e = g.expect(&alloc::vec![1.0; g.len()], 0.1);
        g.absorb(&e, 0.4);
    }];
    for cut in cuts {
        let mut g = start();
        said(&mut g, &h, 1.0, 0.1);
        let before = g.mark(&[h.to_vec()])[0];
        g.fade(60.0);
        cut(&mut g);
        let mut after: Vec<f64> = h.to_vec();
        after.resize(g.len(), 0.0);
        let variance = g.mark(core::slice::from_ref(&after))[0];
        g.fade(60.0);
        said(&mut g, &after, 1.4, 0.1);
        let looked: Vec<Looked> = g.look_back(true).into_iter().flatten().collect();
        assert_eq!(looked[0], Looked { shift: 0.0, variance: before });
        assert!(looked[1].variance < variance && looked[1].shift != 0.0, "{looked:?}");
    }
}

#[test]
fn a_copy_records_nothing_and_is_equal() {
    let mut g = start();
    let mut copy = g.clone();
    assert!(g == copy && g.is_recorded() && !copy.is_recorded());
    for g in [&mut g, &mut copy] {
        g.mark(&[alloc::vec![1.0; STATES]]);
        said(g, &[1.0; STATES], 0.3, 0.2);
    }
    assert_eq!((g.look_back(true).len(), copy.look_back(true).len()), (1, 0));
    assert!(g == copy);
}

/// A disturbance that fades within four hours, heard every five minutes for five days: looked back block by block it is as
/// if all had been looked back at once, and the record stays bounded.
#[test]
fn blocks_see_what_the_whole_sees() {
    let fades = || alloc::vec![Fade { state: 0, time_s: 4.0 * 3600.0, sd: 0.1 }];
    let (mut whole, mut blocks) = (Gaussian::new(&[0.1], fades()), Gaussian::new(&[0.1], fades()));
    let (mut seen, mut most) = (Vec::new(), 0);
    for g in [&mut whole, &mut blocks] {
        g.record();
    }
    for i in 0..5 * 288 {
        for g in [&mut whole, &mut blocks] {
            g.fade(300.0);
            said(g, &[1.0], 0.1 * libm::sin(f64::from(i) / 40.0), 0.01);
            g.mark(&[alloc::vec![1.0]]);
        }
        if blocks.is_look_back_due() {
            let settled = blocks.look_back(false);
            most = most.max(settled.len());
            seen.extend(settled);
        }
    }
    seen.extend(blocks.look_back(true));
    let all = whole.look_back(true);
    assert_eq!((seen.len(), all.len()), (5 * 288, 5 * 288));
    assert!(most > 0 && most as f64 * 300.0 <= BLOCK_S + 600.0, "{most}");
    for (a, b) in seen.iter().flatten().zip(all.iter().flatten()) {
        let sd = libm::sqrt(b.variance);
        assert!((a.shift - b.shift).abs() < 1e-3 * sd && (a.variance / b.variance - 1.0).abs() < 1e-3, "{a:?} {b:?}");
    }
}

/// Readings that come too fast for the record shorten what is looked back over, and lose no moment.
#[test]
fn a_full_record_looks_back_with_what_there_is() {
    let mut g = Gaussian::new(&[1.0], alloc::vec![Fade { state: 0, time_s: 3600.0, sd: 0.1 }]);
    g.record();
    let (mut seen, mut marked) = (0, 0);
    for i in 0..3 * MEASUREMENTS_MAX {
        g.fade(0.1);
        said(&mut g, &[1.0], 0.2, 0.1);
        if i % 500 == 0 {
            g.mark(&[alloc::vec![1.0]]);
            marked += 1;
        }
        if g.is_look_back_due() {
            seen += g.look_back(false).len();
            assert!(!g.is_look_back_due());
        }
    }
    assert!(seen > marked / 2);
    assert_eq!(seen + g.look_back(true).len(), marked);
}
