//! The filter against published runs.
use crate::near;
use enclosure::filter::Gaussian;
use tests::sums::{Filtered, Velocity, level};
use world::Rng;

/// The annual flow of the Nile at Aswan, 1871 to 1970, 10⁸ m³ (Cobb, Biometrika 65, 1978; public domain).
const NILE: [f64; 100] = [
    1120.0, 1160.0, 963.0, 1210.0, 1160.0, 1160.0, 813.0, 1230.0, 1370.0, 1140.0, 995.0, 935.0, 1110.0, 994.0, 1020.0,
    960.0, 1180.0, 799.0, 958.0, 1140.0, 1100.0, 1210.0, 1150.0, 1250.0, 1260.0, 1220.0, 1030.0, 1100.0, 774.0, 840.0,
    874.0, 694.0, 940.0, 833.0, 701.0, 916.0, 692.0, 1020.0, 1050.0, 969.0, 831.0, 726.0, 456.0, 824.0, 702.0, 1120.0,
    1100.0, 832.0, 764.0, 821.0, 768.0, 845.0, 864.0, 862.0, 698.0, 845.0, 744.0, 796.0, 1040.0, 759.0, 781.0, 865.0,
    845.0, 944.0, 984.0, 897.0, 822.0, 1010.0, 771.0, 676.0, 649.0, 846.0, 812.0, 742.0, 801.0, 1040.0, 860.0, 874.0,
    848.0, 890.0, 744.0, 749.0, 838.0, 1050.0, 918.0, 986.0, 797.0, 923.0, 975.0, 815.0, 1020.0, 906.0, 901.0, 1170.0,
    912.0, 746.0, 919.0, 718.0, 714.0, 740.0,
];
/// Variances of noise and of the level's steps: Durbin & Koopman, *Time Series Analysis by State Space Methods*, 2nd ed.
/// 2012, §2.10.
const NILE_VARIANCES: (f64, f64) = (15_099.0, 1469.1);

fn nile() -> Vec<Filtered> {
    level(NILE_VARIANCES.0, NILE_VARIANCES.1, &NILE)
}

/// The data themselves: sum and mean as published.
#[test]
fn the_nile_is_the_nile() {
    near("sum", NILE.iter().sum(), 91_935.0, 1e-9);
}

/// Filtered level, its variance, what each year said over it and that variance, by year (exact diffuse start).
#[test]
fn the_nile_is_filtered_as_published() {
    let run = nile();
    for (year, mean, variance) in
        [(2, 1140.9278, 7899.7364), (3, 1072.7985, 5781.4699), (50, 849.0706, 4032.1579), (100, 798.3703, 4032.1579)]
    {
        near(&format!("level in year {year}"), run[year - 2].mean, mean, 1e-3);
        near(&format!("variance in year {year}"), run[year - 2].variance, variance, 1e-3);
    }
    for (year, surprise, variance) in
        [(2, 40.0, 31_667.1), (3, -177.9278, 24_467.836_4), (4, 137.2015, 22_349.569_9), (100, -79.6373, 20_600.257_9)]
    {
        near(&format!("surprise of year {year}"), run[year - 2].surprise, surprise, 1e-3);
        near(&format!("its variance in year {year}"), run[year - 2].surprise_variance, variance, 1e-3);
    }
    // What the Riccati equation settles at: gain 0.267048013.
    near("gain", run[98].variance / NILE_VARIANCES.0, 0.267_048_013, 1e-8);
}

/// Smoothed level and its variance by year, from the record of the filter's way (Durbin & Koopman 2012, §2.4, exact diffuse
/// start). Far from both ends the variance is the steady 2326.7569: filtered P and predicted P⁻ give P − P²/P⁻ + … = the
/// fixed point of V = P + (P/P⁻)²(V − P⁻).
#[test]
fn the_nile_is_smoothed_as_published() {
    let (noise, wander) = NILE_VARIANCES;
    let mut level = Gaussian::new(&[noise.sqrt()], Vec::new());
    level.record();
    level.mean[0] = NILE[0];
    let mut filtered = Vec::new();
    for (year, value) in NILE.iter().enumerate() {
        if year > 0 {
            level.widen(0, wander);
            let expected = level.expect(&[1.0], noise);
            let surprise = value - expected.value;
            level.absorb_row(&[1.0], &expected, surprise);
        }
        filtered.push(level.mean[0]);
        level.mark(&[vec![1.0]]);
    }
    let smoothed = level.look_back(true);
    for (year, mean, variance) in [
        (1, 1111.6683, 4032.1579),
        (2, 1110.8577, 3242.9301),
        (29, 950.9301, 2326.7569),
        (50, 834.7633, 2326.7569),
        (99, 804.0496, 3242.9301),
        (100, 798.3703, 4032.1579),
    ] {
        let seen = smoothed[year - 1][0];
        near(&format!("level in year {year}"), filtered[year - 1] + seen.shift, mean, 1e-3);
        near(&format!("variance in year {year}"), seen.variance, variance, 1e-3);
    }
    let (p, ahead) = (4_032.157_942, 5_501.257_942);
    let v = smoothed[49][0].variance;
    near("steady variance", v, p + (p / ahead) * (p / ahead) * (v - ahead), 1e-4);
}

/// The same place and speed as the library smooths below, by a state that drives another and a push that is new each step.
#[test]
fn a_driven_state_is_smoothed_as_the_library_does() {
    let (place, speed, push) = (0, 1, 2);
    let mut g = Gaussian::new(&[500.0_f64.sqrt(), 7.0, 0.1_f64.sqrt()], Vec::new());
    g.record();
    let mut filtered = Vec::new();
    for value in VELOCITY_SEEN {
        g.shear(place, speed, 1.0);
        g.renew(push, 0.1);
        g.shear(place, push, 0.5);
        g.shear(speed, push, 1.0);
        let row = [1.0, 0.0, 0.0];
        let expected = g.expect(&row, 5.0);
        let surprise = value - expected.value;
        g.absorb_row(&row, &expected, surprise);
        filtered.push([g.mean[place], g.mean[speed]]);
        g.mark(&[row.to_vec(), vec![0.0, 1.0, 0.0], vec![1.0, 1.0, 0.0]]);
    }
    let smoothed = g.look_back(true);
    for (step, means, variances) in VELOCITY_SMOOTHED {
        let seen = &smoothed[step - 1];
        let covariance = 0.5 * (seen[2].variance - seen[0].variance - seen[1].variance);
        near(&format!("place at {step}"), filtered[step - 1][0] + seen[0].shift, means[0], 2e-5);
        near(&format!("speed at {step}"), filtered[step - 1][1] + seen[1].shift, means[1], 2e-5);
        for (got, want) in [seen[0].variance, covariance, seen[1].variance].into_iter().zip(variances) {
            near(&format!("variance at {step}"), got, want, 2e-5);
        }
    }
}

/// What is seen of a place, noise 5.
const VELOCITY_SEEN: [f64; 10] = [1.2, 1.9, 3.4, 3.9, 5.3, 5.8, 7.1, 8.2, 8.7, 10.1];
/// Smoothed (Rauch, Tung & Striebel): step, place and speed, variance of the place, covariance, variance of the speed.
/// filterpy 2.0.0, cross-checked with NumPy.
const VELOCITY_SMOOTHED: [(usize, [f64; 2], [f64; 3]); 3] = [
    (1, [1.155_397, 0.975_497], [2.093_261, -0.539_183, 0.327_931]),
    (5, [5.068_097, 0.978_950], [0.726_191, -0.009_239, 0.118_494]),
    (9, [8.988_972, 0.981_373], [1.308_604, 0.278_826, 0.242_305]),
];

/// Log-likelihood, the first year only beginning it: −632.5456 (conventions differ: −633.4646 with the diffuse year).
#[test]
fn the_nile_is_as_likely_as_published() {
    let sum: f64 = nile().iter().map(Filtered::log_likelihood).sum();
    near("log-likelihood", sum, -632.545_625_1, 1e-5);
    // And nowhere likelier than at the published variances, to the two per cent they are known to.
    for (noise, wander) in [(0.9, 1.0), (1.1, 1.0), (1.0, 0.7), (1.0, 1.4)] {
        let other: f64 = level(noise * NILE_VARIANCES.0, wander * NILE_VARIANCES.1, &NILE)
            .iter()
            .map(Filtered::log_likelihood)
            .sum();
        assert!(other < sum, "{noise}, {wander}: {other} against {sum}");
    }
}

/// Place and speed, noise 5, pushes 0.1, from (0, 0) with variances 500 and 49: filterpy 2.0.0, cross-checked with
/// NumPy. Filtered on the way, smoothed (Rauch, Tung & Striebel) at the end.
#[test]
fn a_constant_velocity_is_filtered_and_smoothed_as_the_library_does() {
    let filtered = [
        (1, [1.189_170, 0.106_241], [4.954_876, 0.442_670, 44.757_412]),
        (2, [1.845_653, 0.598_086], [4.550_543, 4.067_597, 8.045_596]),
        (5, [5.161_824, 1.013_430], [3.003_908, 1.040_888, 0.627_103]),
        (10, [9.970_990, 0.982_663], [2.112_508, 0.547_413, 0.331_645]),
    ];
    let check = |v: &Velocity, step: usize, means: [f64; 2], variances: [f64; 3]| {
        let (place, speed) = v.rows(step);
        near(&format!("place at {step}"), v.mean(&place), means[0], 2e-5);
        near(&format!("speed at {step}"), v.mean(&speed), means[1], 2e-5);
        for (got, want) in v.variances(step).into_iter().zip(variances) {
            near(&format!("variance at {step}"), got, want, 2e-5);
        }
    };
    let mut v = Velocity::new((500.0, 49.0), 0.1, 5.0, VELOCITY_SEEN.len());
    let mut sum = 0.0;
    for (i, value) in VELOCITY_SEEN.into_iter().enumerate() {
        sum += v.see(value).log_likelihood();
        if let Some((step, means, variances)) = filtered.iter().find(|f| f.0 == i + 1) {
            check(&v, *step, *means, *variances);
        }
    }
    near("log-likelihood", sum, -24.293_054_782, 1e-6);
    for (step, means, variances) in VELOCITY_SMOOTHED {
        check(&v, step, means, variances);
    }
}

/// Surprises of a filter that is right, squared over their variance, pass the gates of χ² with one degree of freedom as
/// often as the table says (3.841 at 95 %, 6.635 at 99 %, 10.828 at 99.9 %), and so do sums of two (5.991, 9.210).
#[test]
fn surprises_pass_the_gates_as_often_as_the_table_says() {
    let mut rng = Rng::new(20);
    let (noise, wander) = (0.05_f64 * 0.05, 0.02_f64 * 0.02);
    let mut truth = 25.0;
    let values: Vec<f64> = (0..60_000)
        .map(|_| {
            truth += wander.sqrt() * rng.normal();
            truth + noise.sqrt() * rng.normal()
        })
        .collect();
    let odd: Vec<f64> =
        level(noise, wander, &values).iter().map(|f| f.surprise * f.surprise / f.surprise_variance).collect();
    let twos: Vec<f64> = odd.chunks_exact(2).map(|two| two[0] + two[1]).collect();
    let gates = [
        (&odd, 3.841_459, 0.05),
        (&odd, 6.634_897, 0.01),
        (&odd, 10.827_566, 0.001),
        (&twos, 5.991_465, 0.05),
        (&twos, 9.210_340, 0.01),
    ];
    for (values, gate, share) in gates {
        let beyond = values.iter().filter(|v| **v > gate).count() as f64 / values.len() as f64;
        // Four standard deviations of a count of independent draws.
        let by = 4.0 * (share * (1.0 - share) / values.len() as f64).sqrt();
        near(&format!("share beyond {gate}"), beyond, share, by);
    }
}
