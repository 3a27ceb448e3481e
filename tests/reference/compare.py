#!/usr/bin/env python3
"""Compares the core's numbers with reference libraries: compare.py PROGRAM, which answers questions a line each.

PsychroLib (ASHRAE) and iapws for water vapour, SciPy for roots, for a rod by finite volumes and for run lengths by
their integral equation, statsmodels for the Kalman filter and the Nile. Ends with 1 if anything is off.
"""
import subprocess
import sys

import numpy as np
import psychrolib
from iapws import iapws97
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.stats import norm
from statsmodels.datasets import nile
from statsmodels.tsa.statespace.kalman_filter import KalmanFilter

psychrolib.SetUnitSystem(psychrolib.SI)
rng = np.random.default_rng(20)
asked = []  # what is compared, question, what the library says, tolerance (absolute, relative)


def ask(what, question, want, by=0.0, share=0.0):
    asked.append((what, question, np.atleast_1d(np.asarray(want, float)), by, share))


def words(*numbers):
    return " ".join(repr(float(n)) for n in numbers)


def vapour():
    for t in np.arange(0.5, 50.0, 1.5):
        # Sonntag's formula; it and both libraries agree within 0.03 %.
        ask("saturation, iapws", f"saturation {words(t)}", 1e6 * iapws97._PSat_T(t + 273.15), share=3e-4)
        ask("saturation, PsychroLib", f"saturation {words(t)}", psychrolib.GetSatVapPres(t), share=3e-4)
    for e in np.geomspace(650.0, 9_000.0, 25):
        want = psychrolib.GetTDewPointFromVapPres(60.0, e)
        ask("dew point, PsychroLib", f"dew {words(e)}", want, by=0.01)
    for _ in range(25):
        t1, rh, t2 = rng.uniform(10, 40), rng.uniform(20, 95), rng.uniform(10, 40)
        want = 100 * psychrolib.GetVapPresFromRelHum(t1, rh / 100) / psychrolib.GetSatVapPres(t2)
        ask("same vapour elsewhere, PsychroLib", f"elsewhere {words(t1, rh, t2)}", want, share=3e-4)


def roots():
    for b in np.geomspace(0.02, 200.0, 15):
        f = lambda z: (z * z - b * b) * np.sin(z) - 2 * b * z * np.cos(z)
        want = [brentq(f, n * np.pi + 1e-9, (n + 1) * np.pi - 1e-9, xtol=1e-13) for n in range(8)]
        ask("roots of two convective ends, SciPy", f"roots {words(b)} 8", want, by=1e-8)


def rods():
    """A rod by finite volumes and an implicit solver of variable order: another method altogether."""
    for _ in range(6):
        length, k, rho_c = rng.uniform(0.15, 0.35), rng.uniform(0.1, 1.0), rng.uniform(5e5, 2e6)
        area, round_m, film = rng.uniform(0.001, 0.004), rng.uniform(0.15, 0.4), rng.uniform(4, 12)
        ends, watts = rng.choice([0.0, film]), rng.uniform(1, 6)
        n = 600
        dx = length / n
        first, last = int(rng.uniform(0, 0.3) * n), int(rng.uniform(0.35, 0.6) * n)
        heat = np.zeros(n)
        heat[first:last] = watts / ((last - first) * dx) / (area * rho_c)
        end = ends / (1 + ends * dx / (2 * k)) / (dx * rho_c)

        def change(_t, y):
            flow = k * np.diff(y) / dx
            d = np.concatenate(([flow[0]], np.diff(flow), [-flow[-1]])) / (dx * rho_c)
            d -= film * round_m / (rho_c * area) * y
            d[0] -= end * y[0]
            d[-1] -= end * y[-1]
            return d + heat

        steps, step_s = int(rng.choice([30, 120])), 60.0
        middle = (np.arange(n) + 0.5) * dx
        run = solve_ivp(change, (0, steps * step_s), np.zeros(n), method="LSODA", rtol=1e-7, atol=1e-7, lband=1, uband=1)
        at = middle[[5, 100, 200, 300, 450, 590]]
        question = words(length, area, round_m, k, rho_c, film, ends, first * dx, last * dx, watts, steps, step_s, *at)
        ask("heated rod, SciPy", f"rod {question}", np.interp(at, middle, run.y[:, -1]), by=0.01, share=1e-3)


def filters():
    flow = nile.load_pandas().data["volume"].to_numpy(float)
    for noise, wander in [(15_099.0, 1469.1), (12_000.0, 3_000.0), (20_000.0, 300.0)]:
        f = KalmanFilter(k_endog=1, k_states=1, transition=[[1]], selection=[[1]], design=[[1]], state_cov=[[wander]],
                         obs_cov=[[noise]], initialization="known", initial_state=[flow[0]],
                         initial_state_cov=[[noise + wander]])
        f.bind(flow[1:])
        run = f.filter()
        want = [run.filtered_state[0, -1], run.filtered_state_cov[0, 0, -1], run.llf_obs.sum()]
        ask("Nile, statsmodels", f"level {words(noise, wander, *flow)}", want, share=1e-9)
    for _ in range(5):
        place, speed, push, noise = rng.uniform(10, 500), rng.uniform(1, 50), rng.uniform(0.01, 1), rng.uniform(0.5, 9)
        values = np.cumsum(rng.normal(1, 0.5, 25))
        pushes = push * np.array([[0.25, 0.5], [0.5, 1]])
        moves = np.array([[1, 1], [0, 1.0]])
        f = KalmanFilter(k_endog=1, k_states=2, transition=moves, selection=np.eye(2), design=[[1, 0]],
                         state_cov=pushes, obs_cov=[[noise]], initialization="known", initial_state=[0, 0],
                         initial_state_cov=moves @ np.diag([place, speed]) @ moves.T + pushes)
        f.bind(values)
        run = f.filter()
        cov = run.filtered_state_cov[:, :, -1]
        want = [*run.filtered_state[:, -1], cov[0, 0], cov[0, 1], cov[1, 1], run.llf_obs.sum()]
        ask("velocity, statsmodels", f"velocity {words(place, speed, push, noise, *values)}", want, by=1e-6, share=1e-6)


def run_lengths():
    points, weights = np.polynomial.legendre.leggauss(80)
    for k, h, shift in [(0.5, 3.0, 0.0), (0.5, 4.0, 0.5), (0.5, 5.0, 1.0), (0.25, 8.0, 1.0), (1.0, 2.5, 0.5), (0.8, 3.5, 1.5)]:
        x, w = 0.5 * h * (points + 1), 0.5 * h * weights
        start = np.concatenate(([0.0], x))
        to = norm.pdf(x[None, :] + k - shift - start[:, None]) * w
        matrix = np.hstack((norm.cdf(k - shift - start)[:, None], to))
        want = np.linalg.solve(np.eye(len(start)) - matrix, np.ones(len(start)))[0]
        # Drawn, not computed: 0.02 is some five standard errors.
        ask("run length, SciPy", f"run-length {words(k, h, shift, 40_000, 7)}", want, share=0.03)


def main():
    for part in (vapour, roots, rods, filters, run_lengths):
        part()
    questions = "".join(question + "\n" for _, question, *_ in asked)
    told = subprocess.run([sys.argv[1]], input=questions, capture_output=True, text=True)
    if told.returncode or len(told.stdout.splitlines()) != len(asked):
        sys.exit(f"{sys.argv[1]} ended with {told.returncode}: {told.stderr}")
    worst, off = {}, 0
    for (what, question, want, by, share), line in zip(asked, told.stdout.splitlines()):
        got = np.array([float(w) for w in line.split()])[: len(want)]
        allowed = by + share * np.abs(want)
        part = float(np.max(np.abs(got - want) / allowed))
        apart = float(np.max(np.abs(got - want) / max(np.max(np.abs(want)), 1e-9)))
        count, most, most_apart = worst.get(what, (0, 0.0, 0.0))
        worst[what] = (count + 1, max(most, part), max(most_apart, apart))
        if not part <= 1:
            off += 1
            print(f"OFF: {what}: {question[:90]}: {got} for {want}")
    for what, (count, part, apart) in worst.items():
        print(f"{what:36} {count:3} compared, at most {100 * part:3.0f} % of the tolerance, {apart:.1e} relative")
    print(f"reference: {len(asked) - off} agree, {off} do not")
    sys.exit(1 if off else 0)


main()
