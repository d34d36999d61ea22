/* REF-1, a cascode double-pulse circuit with textbook laws, as residual and exact Jacobian of a DAE F(t, y, y') = 0.
 *
 * Unknowns are branch voltages rather than node voltages: on a 400 V bus a tolerance relative to a node voltage is
 * far wider than the drop across a conducting switch, and a node-voltage form fails at loose tolerances.
 * Square laws: Shichman and Hodges, IEEE J. Solid-State Circuits 3 (1968) 285. */
#ifndef REF1_CIRCUIT_H
#define REF1_CIRCUIT_H
#include <math.h>

enum {
    B,     /* v7 - v1: diode junction, forward positive */
    P,     /* v2 - v3: JFET drain to source */
    S,     /* v3 - v6: MOSFET drain to source */
    E,     /* v4 - v6: drop across the JFET gate resistor */
    F,     /* v5 - v6: MOSFET gate to source */
    C,     /* v2 - v7: drop across the diode series resistance (algebraic) */
    G,     /* v6: MOSFET source against ground (algebraic) */
    IL,    /* load inductor */
    ILOOP, /* bus loop inductor */
    ILS,   /* common-source inductor */
    N
};

static const double V_BUS = 400.0, R_LOOP = 10e-3, L_LOOP = 20e-9;
static const double R_GATE = 5.0, R_LS = 1e-3, L_LS = 2e-9, R_JFET_GATE = 1.0;
static const double L_LOAD = 40e-6, R_DIODE = 20e-3;
static const double DIODE_IS = 1e-14, DIODE_NVT = 0.0517;
static const double JFET_VP = -7.0, JFET_BETA = 4.0, JFET_LAMBDA = 0.002, JFET_CDS = 30e-12;
static const double FET_VTH = 4.0, FET_K = 60.0, FET_LAMBDA = 0.01, FET_CGS = 3e-9, FET_LEAK = 1e6;
static const double BODY_IS = 1e-9, BODY_NVT = 0.0310;
static const double AVAL_I = 1e-3, AVAL_V = 30.0, AVAL_NVT = 0.25;

typedef struct {
    double r_load; /* ohm, in series with the load inductor */
    double vg0, slope; /* gate source over the present segment: vg0 + slope * (t - t0) */
    double t0;
} Ref1;

/* What every device contributes at one state: currents with their slopes, capacitances with theirs. */
typedef struct {
    double id, gd; /* diode */
    double ij, gmj, gdsj; /* JFET channel */
    double im, gmm, gdsm; /* MOSFET channel, body diode, avalanche and leak */
    double cd, cd1, cgd, cgd1, cgs, cgs1, cgdm, cgdm1, cdsm, cdsm1;
} Devices;

/* Depletion capacitance with exponent 1/2 and its slope; constant below v = -vj/2. */
static inline double depletion(double c0, double vj, double v, double *slope)
{
    double x = 1.0 + v / vj;
    if (x < 0.5) {
        *slope = 0.0;
        return c0 / sqrt(0.5);
    }
    double c = c0 / sqrt(x);
    *slope = -0.5 * c / (x * vj);
    return c;
}

/* Forward square law in half-channel form, a * (2 u v - v^2) (1 + lambda v): the MOSFET has a = K/2, the JFET a = beta. */
static inline double square_forward(double a, double lambda, double u, double vds, double *gm, double *gds)
{
    if (u <= 0.0) {
        *gm = *gds = 0.0;
        return 0.0;
    }
    double m = 1.0 + lambda * vds;
    if (vds < u) {
        double core = a * vds * (2.0 * u - vds);
        *gm = 2.0 * a * vds * m;
        *gds = 2.0 * a * (u - vds) * m + core * lambda;
        return core * m;
    }
    double core = a * u * u;
    *gm = 2.0 * a * u * m;
    *gds = core * lambda;
    return core * m;
}

/* Symmetric square law: with vds < 0 drain and source change places. */
static inline double square_law(double a, double lambda, double vth, double vds, double vgs, double *gm, double *gds)
{
    if (vds >= 0.0)
        return square_forward(a, lambda, vgs - vth, vds, gm, gds);
    double g, d;
    double i = square_forward(a, lambda, vgs - vds - vth, -vds, &g, &d);
    *gm = -g;
    *gds = g + d;
    return -i;
}

static inline void ref1_devices(const double *y, Devices *d)
{
    double e = exp(y[B] / DIODE_NVT);
    d->id = DIODE_IS * (e - 1.0);
    d->gd = DIODE_IS / DIODE_NVT * e;
    d->cd = depletion(1.2e-9, 1.5, -y[B], &d->cd1);

    d->ij = square_law(JFET_BETA, JFET_LAMBDA, JFET_VP, y[P], y[E] - y[S], &d->gmj, &d->gdsj);
    d->cgd = depletion(2.0e-9, 2.7, y[P] + y[S] - y[E], &d->cgd1);
    d->cgs = depletion(1.5e-9, 2.7, y[S] - y[E], &d->cgs1);

    double body = exp(-y[S] / BODY_NVT);
    double aval = exp((y[S] - AVAL_V) / AVAL_NVT);
    d->im = square_law(0.5 * FET_K, FET_LAMBDA, FET_VTH, y[S], y[F], &d->gmm, &d->gdsm);
    d->im += -BODY_IS * (body - 1.0) + AVAL_I * (aval - exp(-AVAL_V / AVAL_NVT)) + y[S] / FET_LEAK;
    d->gdsm += BODY_IS / BODY_NVT * body + AVAL_I / AVAL_NVT * aval + 1.0 / FET_LEAK;
    d->cgdm = depletion(1.0e-9, 0.8, y[S] - y[F], &d->cgdm1);
    d->cdsm = depletion(2.5e-9, 0.8, y[S], &d->cdsm1);
}

/* Residual; row by row: nodes 7, 2, 3, 4, 5 (current into the node), the cut around the cascode, the cut around bus and
 * diode junction, then the three inductors. Returns 1 where an exponential overflowed (a recoverable failure). */
static inline int ref1_residual(const Ref1 *k, double t, const double *y, const double *yp, double *r)
{
    Devices d;
    ref1_devices(y, &d);
    double vg = k->vg0 + k->slope * (t - k->t0);
    double ic = y[C] / R_DIODE, ig = (vg - y[F] - y[G]) / R_GATE;
    double qgd = d.cgd * (yp[P] + yp[S] - yp[E]), qgs = d.cgs * (yp[S] - yp[E]);
    double qgdm = d.cgdm * (yp[S] - yp[F]);
    r[0] = ic - d.id - d.cd * yp[B];
    r[1] = y[IL] - ic - d.ij - JFET_CDS * yp[P] - qgd;
    r[2] = d.ij + JFET_CDS * yp[P] - qgs - d.im - qgdm - d.cdsm * yp[S];
    r[3] = qgd + qgs - y[E] / R_JFET_GATE;
    r[4] = ig + qgdm - FET_CGS * yp[F];
    r[5] = y[IL] - ic + ig - y[ILS];
    r[6] = y[ILOOP] - y[IL] + ic;
    r[7] = L_LOAD * yp[IL] + y[B] + y[C] + k->r_load * y[IL];
    r[8] = L_LOOP * yp[ILOOP] + R_LOOP * y[ILOOP] + y[G] + y[S] + y[P] - y[C] - y[B] - V_BUS;
    r[9] = L_LS * yp[ILS] + R_LS * y[ILS] - y[G];
    return !(isfinite(d.id) && isfinite(d.im));
}

/* dF/dy + cj dF/dy', by columns (column-major, N by N, zeroed by the caller). */
static inline void ref1_jacobian(const Ref1 *k, double cj, const double *y, const double *yp, double *const *col)
{
    Devices d;
    ref1_devices(y, &d);
    double a = cj * d.cgd + d.cgd1 * (yp[P] + yp[S] - yp[E]);
    double b = cj * d.cgs + d.cgs1 * (yp[S] - yp[E]);
    double m = cj * d.cgdm + d.cgdm1 * (yp[S] - yp[F]);
    double n = cj * d.cdsm + d.cdsm1 * yp[S];
    double cds = cj * JFET_CDS, gc = 1.0 / R_DIODE, gg = 1.0 / R_GATE;

    col[B][0] = -d.gd - cj * d.cd + d.cd1 * yp[B];
    col[C][0] = gc;

    col[P][1] = -d.gdsj - cds - a;
    col[S][1] = d.gmj - a;
    col[E][1] = -d.gmj + a;
    col[C][1] = -gc;
    col[IL][1] = 1.0;

    col[P][2] = d.gdsj + cds;
    col[S][2] = -d.gmj - b - d.gdsm - m - n;
    col[E][2] = d.gmj + b;
    col[F][2] = -d.gmm + m;

    col[P][3] = a;
    col[S][3] = a + b;
    col[E][3] = -a - b - 1.0 / R_JFET_GATE;

    col[S][4] = m;
    col[F][4] = -gg - m - cj * FET_CGS;
    col[G][4] = -gg;

    col[C][5] = -gc;
    col[F][5] = -gg;
    col[G][5] = -gg;
    col[IL][5] = 1.0;
    col[ILS][5] = -1.0;

    col[C][6] = gc;
    col[IL][6] = -1.0;
    col[ILOOP][6] = 1.0;

    col[B][7] = 1.0;
    col[C][7] = 1.0;
    col[IL][7] = cj * L_LOAD + k->r_load;

    col[B][8] = -1.0;
    col[P][8] = 1.0;
    col[S][8] = 1.0;
    col[C][8] = -1.0;
    col[G][8] = 1.0;
    col[ILOOP][8] = cj * L_LOOP + R_LOOP;

    col[G][9] = -1.0;
    col[ILS][9] = cj * L_LS + R_LS;
}

/* v1 to v7, iL, iLoop, iLs, as tabulated. */
static inline void ref1_node_form(const double *y, double *row)
{
    double v2 = y[P] + y[S] + y[G], v7 = v2 - y[C];
    row[0] = v7 - y[B];
    row[1] = v2;
    row[2] = y[S] + y[G];
    row[3] = y[E] + y[G];
    row[4] = y[F] + y[G];
    row[5] = y[G];
    row[6] = v7;
    row[7] = y[IL];
    row[8] = y[ILOOP];
    row[9] = y[ILS];
}

/* Power into the cascode, (v2 - v6) times the drain current iL - (v2 - v7)/Rs. */
static inline double ref1_cascode_power(const double *y)
{
    return (y[P] + y[S]) * (y[IL] - y[C] / R_DIODE);
}
#endif
