"""Look-ahead over checks and fixes: many hypothetical beliefs evaluated as rows of one table.

Holds the estimate of what a belief still costs, the one-step value built on it, and the deeper
values over the best few acts. Leaves the choice and its explanation to `planner`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np

from stillflow.engine.planning.problem import Flags, Floats, Integers, Tables, information
from stillflow.engine.planning.repair import fix_priority, repair_minutes

_NEGLIGIBLE = 1e-12


@dataclass(frozen=True)
class Rows:
    belief: Floats
    charges: Floats
    free: Flags

    def __len__(self) -> int:
        return len(self.belief)


@dataclass(frozen=True)
class Answered:
    mass: Floats       # (N,K)
    straight: Floats
    doubt: Floats
    price: Floats      # (N,C)


def answered(t: Tables, rows: Rows) -> Answered:
    b = rows.belief
    P = t.likelihood
    mass = b @ P.T
    doubt = information(mass) - (information(b) @ P.T + b @ t.surprise.T)
    straight = (b * (t.stake + rows.charges[:, t.fix_group])) @ P.T
    for group, answers, members in t.opening:
        straight[:, answers] -= rows.charges[:, group, None] * (b[:, members] @ P[np.ix_(answers, members)].T)
    price = (t.check_minutes + rows.charges[:, t.check_group]) * b.sum(axis=1)[:, None]
    return Answered(mass, straight, np.maximum(doubt, 0.0), price)


def leaf(t, rows, k):
    b = rows.belief
    fix = repair_minutes(t, b, rows.charges)
    if not np.isfinite(k):
        return fix
    straight = (b * (t.stake + rows.charges[:, t.fix_group])).sum(axis=1)
    doubt = information(b.sum(axis=1)) - information(b).sum(axis=1)
    return np.minimum(fix, straight + k * doubt)


def spread(t, rows, which, check):
    """children of (row, check) pairs -> rows, pair index, answers"""
    n = t.count[check]
    pair = np.repeat(np.arange(len(check)), n)
    start = np.cumsum(n) - n
    ans = t.first[check][pair] + (np.arange(len(pair)) - start[pair])
    src = which[pair]
    belief = rows.belief[src] * t.likelihood[ans]
    charges = rows.charges[src]
    charges[np.arange(len(src)), t.check_group[check][pair]] = 0.0
    return src, pair, start, ans, belief, charges


def one_step(t: Tables, rows: Rows, k: float, kb: float, inner: int):
    """(N,) value, (N,C) Q1."""
    a = answered(t, rows)
    N, C = rows.free.shape
    value = leaf(t, rows, k)
    if C == 0:
        return value, np.full((N, C), np.inf)
    E = a.straight + k * a.doubt if np.isfinite(k) else None
    if inner < C:
        est = a.straight + kb * a.doubt
        rough = a.price + np.add.reduceat(est, t.first, axis=1)
        rough[~rows.free] = np.inf
        pick = np.argpartition(rough, inner - 1, axis=1)[:, :inner]
        which = np.repeat(np.arange(N), inner)
        check = pick.ravel()
        ok = rows.free[which, check]
        which, check = which[ok], check[ok]
    else:
        which, check = np.nonzero(rows.free)
    q = np.full((N, C), np.inf)
    if len(which):
        src, pair, start, ans, belief, charges = spread(t, rows, which, check)
        v = repair_minutes(t, belief, charges)
        if E is not None:
            v = np.minimum(v, E[src, ans])
        q[which, check] = np.add.reduceat(v, start) + a.price[which, check]
        value = np.minimum(value, q.min(axis=1))
    return value, q


def deeper(t, rows, k, kb, inner, widths):
    """widths: list of (checks, fixes) from the top. returns value (N,), qc (N,C), qf (N,F)"""
    N, C = rows.free.shape
    F = rows.belief.shape[1]
    v1, q1 = one_step(t, rows, k, kb, inner)
    if not widths:
        return v1, q1, None
    (nc, nf), rest = widths[0], widths[1:]
    qc = np.full((N, C), np.inf)
    qf = np.full((N, F), np.inf)
    nc = min(nc, C)
    ch = np.zeros(0, int)
    parts = []
    if nc:
        pick = np.argsort(q1, axis=1, kind="stable")[:, :nc]
        which = np.repeat(np.arange(N), nc)
        check = pick.ravel()
        ok = np.isfinite(q1[which, check])
        which, check = which[ok], check[ok]
        src, pair, start, ans, belief, charges = spread(t, rows, which, check)
        free = rows.free[src]
        free[np.arange(len(src)), check[pair]] = False
        parts.append((belief, charges, free))
        price = (t.check_minutes[check] + rows.charges[which, t.check_group[check]]) * rows.belief[which].sum(axis=1)
    pr = fix_priority(t, rows.belief, rows.charges)
    nf = min(nf, F)
    pick = np.argsort(-pr, axis=1, kind="stable")[:, :nf]
    fw = np.repeat(np.arange(N), nf)
    fix = pick.ravel()
    ok = rows.belief[fw, fix] > 0
    fw, fix = fw[ok], fix[ok]
    fb = rows.belief[fw]
    fb[np.arange(len(fw)), fix] = 0.0
    fc = rows.charges[fw]
    fc[np.arange(len(fw)), t.fix_group[fix]] = 0.0
    parts.append((fb, fc, rows.free[fw]))
    fprice = (t.stake[fix] + rows.charges[fw, t.fix_group[fix]]) * rows.belief[fw].sum(axis=1)
    B = np.concatenate([p[0] for p in parts])
    live = B.sum(axis=1) > 0
    child = Rows(B[live], np.concatenate([p[1] for p in parts])[live], np.concatenate([p[2] for p in parts])[live])
    v = np.zeros(len(B))
    v[live] = deeper(t, child, k, kb, inner, rest)[0]
    m = len(B) - len(fix)
    if nc and len(check):
        qc[which, check] = np.add.reduceat(v[:m], start) + price
    qf[fw, fix] = v[m:] + fprice
    return np.minimum(qc.min(axis=1, initial=np.inf), qf.min(axis=1)), qc, qf
