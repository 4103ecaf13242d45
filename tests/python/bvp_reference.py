"""Currents of one-dimensional bars by a boundary-value solver that shares nothing with
Holdpoint but the equations: SciPy's `solve_bvp`, collocation of fourth order with residual
control (Kierzenka, Shampine, ACM Trans. Math. Softw. 27, 299 (2001)).

    python3 bvp_reference.py            solve all bars, print JSON
    python3 bvp_reference.py diode      only these
    python3 bvp_reference.py > bvp_reference.json       renew the committed values

Unknowns over the depth y [um]: psi/V_T, its slope, asinh(n/2nie), J_n, asinh(p/2nie), J_p; J
is scaled by the current of a solution nearby. asinh is linear for a minority, which then
starts from an ideal contact without a singular layer, and a logarithm for a majority.

    psi'' = (q/eps)(n - p - N)
    n'    = n psi'/V_T + n (ln nie)' + J_n/(q mu_n V_T)       J_n' = q(R - G) = -J_p'
    p'    = -p psi'/V_T + p (ln nie)' - J_p/(q mu_p V_T)

For n/nie and p/nie the (ln nie)' is gone. Contacts: neutral, n p = nie^2.

Laws: mobility Masetti 1983 (As, B) or constant; Canali 1975 with |psi'|; SRH mid-gap, lifetimes
falling with doping; Auger of Dziewior and Schmid 1977; narrowing of Slotboom and de Graaff
1976; avalanche of van Overstraeten and de Man 1970 with the field along each current. 300 K.
The doping is smooth (Gaussians on a uniform wafer), so that no node has to average it.
"""

import json
import sys

import numpy as np
from scipy.integrate import solve_bvp
from scipy.linalg import solve_banded

Q, K_B, EPS_0, T = 1.602176634e-19, 1.380649e-23, 8.8541878128e-14, 300.0
VT = K_B * T / Q
EPS = 11.7 * EPS_0
UM = 1e-4
TOLERANCE = 1e-5

# Masetti et al. 1983, table I: mu_max, mu_1, mu_2, mu_3, p_c, c_r, c_s, alpha, beta.
ARSENIC = (1417.0, 52.2, 52.2, 43.4, 0.0, 9.68e16, 3.43e20, 0.680, 2.0)
BORON = (470.5, 44.9, 0.0, 29.0, 9.23e16, 2.23e17, 6.10e20, 0.719, 2.0)
CANALI = ((1.07e7, 1.109), (8.37e6, 1.213))
VAN_OVERSTRAETEN_N = (7.03e5, 1.231e6)
VAN_OVERSTRAETEN_P = ((1.582e6, 2.036e6), (6.71e5, 1.693e6))

BASIC = dict(mobility=(1000.0, 400.0), canali=False, tau=(1e-7, 1e-7), n_half=None, auger=False,
             narrowing=False, avalanche=False)
FULL = dict(mobility="masetti", canali=True, tau=(1e-6, 1e-6), n_half=7.1e15, auger=True,
            narrowing=True, avalanche=True)


def gaussian(peak, crest, falloff):
    return lambda y: peak * np.exp(-(((y - crest) / falloff) ** 2))


class Bar:
    """A bar of `thickness` um: wafer donors and Gaussian pieces (sign, peak, crest, falloff)."""

    def __init__(self, thickness, wafer, pieces, laws):
        self.thickness, self.wafer, self.pieces, self.laws = thickness, wafer, pieces, laws

    def doping(self, y):
        net = np.full_like(y, self.wafer)
        total = np.full_like(y, self.wafer)
        for sign, peak, crest, falloff in self.pieces:
            part = gaussian(peak, crest, falloff)(y)
            net += sign * part
            total += part
        return net, total

    def nie(self, total):
        narrowing = 0.0
        if self.laws["narrowing"]:
            log = np.log(total / 1e17)
            narrowing = 9.0e-3 * (log + np.sqrt(log * log + 0.5))
        return 9.65e9 * np.exp(0.5 * narrowing / VT)

    def mobility(self, total, field):
        if self.laws["mobility"] == "masetti":
            low = []
            for mu_max, mu_1, mu_2, mu_3, p_c, c_r, c_s, alpha, beta in (ARSENIC, BORON):
                low.append(mu_1 * np.exp(-p_c / total) + (mu_max - mu_2) / (1 + (total / c_r) ** alpha)
                           - mu_3 / (1 + (c_s / total) ** beta))
        else:
            low = [mu + 0.0 * total for mu in self.laws["mobility"]]
        if not self.laws["canali"]:
            return low
        return [mu / (1 + (mu * field / v) ** beta) ** (1 / beta)
                for mu, (v, beta) in zip(low, CANALI)]

    def recombination(self, m, l, nie, total):
        over = nie * nie * (m * l - 1.0)
        factor = 1.0 if self.laws["n_half"] is None else 1 + total / self.laws["n_half"]
        tau_n, tau_p = (tau / factor for tau in self.laws["tau"])
        rate = over / (nie * (tau_p * (np.abs(m) + 1) + tau_n * (np.abs(l) + 1)))
        if self.laws["auger"]:
            rate += nie * (2.8e-31 * m + 9.9e-32 * l) * over
        return rate

    def generation(self, field, j_n, j_p):
        """q G [A/cm^3]; `field` and currents with their signs."""
        if not self.laws["avalanche"]:
            return 0.0
        size = np.maximum(np.abs(field), 1e3)
        a, b = VAN_OVERSTRAETEN_N
        alpha_n = a * np.exp(-b / size)
        alpha_p = np.minimum(*(a * np.exp(-b / size) for a, b in VAN_OVERSTRAETEN_P))
        return (alpha_n * np.where(field * j_n > 0, np.abs(j_n), 0.0)
                + alpha_p * np.where(field * j_p > 0, np.abs(j_p), 0.0))

    def slopes(self, y, s, scale):
        u, w, z_n, j_n, z_p, j_p = s
        net, total = self.doping(y)
        nie = self.nie(total)
        m, l = (2 * np.sinh(np.clip(z, -80, 80)) for z in (z_n, z_p))
        field = -w * VT / UM
        mu_n, mu_p = self.mobility(total, np.abs(field))
        net_rate = Q * self.recombination(m, l, nie, total) - self.generation(
            field, j_n * scale, j_p * scale)
        change = net_rate * UM / scale
        return np.vstack([
            w,
            Q / (EPS * VT) * UM**2 * (nie * (m - l) - net),
            (m * w + j_n * scale * UM / (Q * mu_n * nie * VT)) / (2 * np.cosh(np.clip(z_n, -80, 80))),
            change,
            (-l * w - j_p * scale * UM / (Q * mu_p * nie * VT)) / (2 * np.cosh(np.clip(z_p, -80, 80))),
            -change,
        ])

    def at_contact(self, y):
        net, total = self.doping(np.array([y]))
        return float(np.arcsinh(0.5 * net / self.nie(total))[0])

    def equilibrium(self):
        """A start: Newton on Poisson's equation by finite differences; a mesh that follows psi."""
        y = np.linspace(0.0, self.thickness, 4001)
        net, total = self.doping(y)
        nie = self.nie(total)
        u = np.arcsinh(0.5 * net / nie)
        h = y[1] - y[0]
        k = EPS * VT / (Q * (h * UM) ** 2)
        for _ in range(200):
            n, p = nie * np.exp(u), nie * np.exp(-u)
            r = np.zeros_like(u)
            r[1:-1] = k * (u[2:] - 2 * u[1:-1] + u[:-2]) + p[1:-1] - n[1:-1] + net[1:-1]
            band = np.zeros((3, len(u)))
            band[0, 2:] = k
            band[1] = 1.0
            band[1, 1:-1] = -2 * k - n[1:-1] - p[1:-1]
            band[2, :-2] = k
            d = solve_banded((1, 1), band, -r)
            u += np.sign(d) * np.minimum(np.abs(d), 1 + np.log(np.maximum(np.abs(d), 1)))
            if np.max(np.abs(d)) < 1e-10:
                break
        self.equilibrium_y = y
        s = np.zeros((6, len(y)))
        s[0], s[1] = u, np.gradient(u, y)
        s[2], s[4] = np.arcsinh(0.5 * np.exp(u)), np.arcsinh(0.5 * np.exp(-u))
        return y, s


def thin(y, s, nodes):
    """A mesh of about `nodes` that follows the solution's changes."""
    change = np.zeros(len(y) - 1)
    for k in (0, 2, 4):
        change += np.abs(np.diff(s[k])) / max(1.0, np.ptp(s[k]))
    for k in (3, 5):
        change += np.abs(np.diff(s[k])) / max(1e-30, np.ptp(s[k]) + 0.1 * np.max(np.abs(s[k])))
    change /= max(np.sum(change), 1e-30)
    measure = np.concatenate([[0.0], np.cumsum(change + np.diff(y) / (y[-1] - y[0]))])
    new = np.interp(np.linspace(0.0, measure[-1], nodes), measure, y)
    new[0], new[-1] = y[0], y[-1]
    return new


def asinh_density(u):
    """The variable of n/nie = exp(u)."""
    return np.arcsinh(0.5 * np.exp(u))


class Point:
    """One solution: mesh, unknowns, voltage [V] and current [A/cm^2] at the last terminal."""

    def __init__(self, y, s, v, scale):
        self.y, self.v = y, v
        self.current = -(s[3, -1] + s[5, -1]) * scale
        self.scale = max(np.max(np.abs(s[3])), np.max(np.abs(s[5]))) * scale
        self.s = s.copy()
        self.s[[3, 5]] *= scale / self.scale

    def on(self, y):
        return np.array([np.interp(y, self.y, row) for row in self.s])


class Ramp:
    """Solutions one after the other, from equilibrium. The first terminal (y = 0) is at 0 V."""

    def __init__(self, bar, nodes=600):
        self.bar, self.nodes = bar, nodes
        y, s = bar.equilibrium()
        y = thin(y, s, nodes)
        self.past, self.here = None, None
        self.start = (y, np.array([np.interp(y, *pair) for pair in
                                   ((bar.equilibrium_y, row) for row in s)]))

    def solve(self, guess, scale, tolerance, v=None, current=None, start_v=0.0):
        """At a voltage or at a current; None if it does not converge."""
        bar, (y, s) = self.bar, guess
        left, right = bar.at_contact(0.0), bar.at_contact(bar.thickness)

        def ends(a, b, volts):
            first = [a[0] - left, a[2] - asinh_density(left), a[4] - asinh_density(-left)]
            last = [b[0] - right - volts[0], b[2] - asinh_density(right),
                    b[4] - asinh_density(-right)]
            drive = volts[0] - v / VT if current is None else b[3] + b[5] + current / scale
            return np.array([*first, *last, drive])

        out = solve_bvp(lambda y, s, _: bar.slopes(y, s, scale), ends, y, s,
                        p=[(start_v if v is None else v) / VT], tol=tolerance, max_nodes=8000)
        if out.status != 0:
            return None
        point = Point(out.x, out.y, out.p[0] * VT, scale)
        point.residual = np.max(out.rms_residuals)
        return point

    def predict(self, x):
        """Linear in x = V or ln|I| through the last two points, on a fresh mesh."""
        if self.here is None:
            return self.start, 1e-9, 0.0
        y = thin(self.here.y, self.here.s, self.nodes)
        s, v, scale = self.here.on(y), self.here.v, self.here.scale
        if self.past is not None:
            k = (x(None) - x(self.here)) / (x(self.here) - x(self.past))
            old = self.past.on(y)
            s[[0, 1, 2, 4]] += k * (s - old)[[0, 1, 2, 4]]
            v += k * (self.here.v - self.past.v)
            if self.here.current * self.past.current > 0:
                ratio = (self.here.current / self.past.current) ** k
                s[[3, 5]] *= ratio
        return (y, s), scale, v

    def go(self, goal, step, most, by_current=False, tolerance=1e-3):
        """Walk to the goal: volts, or A/cm^2 with steps of ln|I|."""
        where = (lambda p: np.log(abs(p.current))) if by_current else (lambda p: p.v)
        end = np.log(abs(goal)) if by_current else goal
        while True:
            here = 0.0 if self.here is None else where(self.here)
            left = end - here
            if abs(left) < 1e-12:
                return self.here
            to = end if abs(left) <= 1.2 * step else here + np.sign(left) * step
            guess, scale, v = self.predict(lambda p: to if p is None else where(p))
            if by_current:
                current = np.sign(goal) * np.exp(to) if to != end else goal
                guess[1][[3, 5]] *= scale / abs(current)
                point = self.solve(guess, abs(current), tolerance, current=current, start_v=v)
            else:
                point = self.solve(guess, scale, tolerance, v=to)
            if point is None:
                step *= 0.5
                if step < 1e-4 * most:
                    raise RuntimeError(f"no solution beyond {here} on the way to {goal}")
                continue
            self.past, self.here = self.here, point
            step = min(1.3 * step, most)

    def refined(self, by_current):
        """The point where the ramp stands, with small residuals."""
        h = self.here
        drive = dict(current=h.current, start_v=h.v) if by_current else dict(v=h.v)
        point = self.solve((h.y, h.s), h.scale, TOLERANCE, **drive)
        if point is None:
            raise RuntimeError(f"no solution to {TOLERANCE} at {h.v} V")
        return point


DIODE = dict(thickness=6.0, wafer=1e16, pieces=[(-1, 1e19, 0.0, 0.5), (1, 1e19, 5.9, 0.5)])
NPN = dict(thickness=4.0, wafer=1e16,
           pieces=[(1, 1e20, 0.0, 0.15), (-1, 1e18, 0.0, 0.4), (1, 1e19, 3.9, 0.3)])
PNPN = dict(thickness=8.0, wafer=1e16,
            pieces=[(1, 1e20, 0.0, 0.15), (-1, 3e17, 0.0, 0.7), (-1, 1e19, 7.9, 0.5)])

# Bar, laws, and the way through: (drive, goals, first step, largest step); volts, or A/cm^2
# with steps of ln I.
RUNS = {
    "diode, constant laws, forward": (DIODE, BASIC, [("voltage", [-0.4, -0.6, -0.8], 0.05, 0.05)]),
    "diode, constant laws, reverse": (DIODE, BASIC, [("voltage", [5.0, 30.0], 0.05, 2.0)]),
    "diode, saturation alone": (DIODE, dict(BASIC, canali=True), [("voltage", [-0.9], 0.05, 0.05)]),
    "diode, all laws, forward": (DIODE, FULL, [("voltage", [-0.4, -0.6, -0.8, -0.9], 0.05, 0.05)]),
    "diode, all laws, reverse": (DIODE, FULL, [("voltage", [5.0, 30.0, 45.0, 50.0], 0.05, 2.0)]),
    "n-p-n, open base": (NPN, FULL, [("voltage", [2.0, 10.0], 0.05, 1.0)]),
    "p-n-p-n": (PNPN, dict(FULL, tau=(5e-8, 5e-8)), [
        ("voltage", [10.0, 30.0], 0.05, 2.0),
        ("current", [1e-3, 1e-2, 1e-1, 1.0, 3.0, 10.0], 0.1, 0.3),
        ("voltage", [0.85, 0.95], 0.01, 0.05),
    ]),
}


def solve(name):
    """All points of one run."""
    bar, laws, ways = RUNS[name]
    ramp = Ramp(Bar(laws=laws, **bar))
    points = []
    for drive, goals, first, most in ways:
        for goal in goals:
            ramp.go(goal, first, most, by_current=drive == "current")
            point = ramp.refined(drive == "current")
            points.append(dict(drive=drive, voltage_V=point.v, current_A_per_cm2=point.current,
                               residual=point.residual, nodes=len(point.y)))
        ramp.past = None
    return points


if __name__ == "__main__":
    names = [n for n in RUNS if len(sys.argv) < 2 or n.startswith(sys.argv[1])]
    with np.errstate(all="ignore"):
        print(json.dumps({"tolerance": TOLERANCE, "runs": {n: solve(n) for n in names}}, indent=1))
