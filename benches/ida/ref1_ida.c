/* REF-1 and its 200-edge version with SUNDIALS IDA: exact Jacobian, dense linear solver, scalar tolerances.
 *
 *   ref1_ida CASE TOLERANCE REPEATS CORNERS [TIMES ROWS]
 *   CASE     two   two pulses, 5.2 us: on at 0.2 us, off 2.2, on 3.2, off 4.2
 *            many  200 edges, 1 ms: on at 0.2 us, then an edge every 5 us; 8 ohm in series with the load
 *            (both: 0 V and 12 V, linear edges of 10 ns, start at the operating point with the gate at 0 V)
 *   CORNERS  restart  stop and restart at every corner of the gate course
 *            stop     stop there, go on with the order and step at hand
 *   TIMES    file of float64 times in ascending order, ROWS  file for ten float64 per time (v1 to v7, iL, iLoop, iLs)
 *
 * Prints one line of key=value. The time (of the processor) is the best of REPEATS after one warm-up, of the integration alone; a
 * further untimed pass over the same steps reads out rows and energies from IDA's own interpolant. */
#include "ref1_circuit.h"

#include <ida/ida.h>
#include <nvector/nvector_serial.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sundials/sundials_config.h>
#include <sunlinsol/sunlinsol_dense.h>
#include <sunmatrix/sunmatrix_dense.h>
#include <time.h>

enum { MAX_EDGES = 200 };
static const double RAMP = 10e-9, GATE_ON = 12.0;

typedef struct {
    int edges;
    double edge[MAX_EDGES + 1]; /* start of each edge; one more entry: the end */
    double r_load;
} Case;

typedef struct {
    void *ida;
    N_Vector y, yp;
    Ref1 k;
    int restart;
    long steps, newton, residuals, jacobians, refused;
} Run;

static void die(const char *what)
{
    fprintf(stderr, "ref1_ida: %s\n", what);
    exit(1);
}

static int residual(realtype t, N_Vector y, N_Vector yp, N_Vector r, void *data)
{
    return ref1_residual(data, t, NV_DATA_S(y), NV_DATA_S(yp), NV_DATA_S(r));
}

static int jacobian(realtype t, realtype cj, N_Vector y, N_Vector yp, N_Vector r, SUNMatrix j, void *data, N_Vector a,
                    N_Vector b, N_Vector c)
{
    (void)t, (void)r, (void)a, (void)b, (void)c;
    ref1_jacobian(data, cj, NV_DATA_S(y), NV_DATA_S(yp), SM_COLS_D(j));
    return 0;
}

/* Operating point with the gate at 0 V: Newton on the residual with y' = 0, from the JFET near pinch-off. */
static void operating_point(const Ref1 *k, N_Vector y, N_Vector yp, SUNMatrix j, SUNLinearSolver ls)
{
    N_Vector r = N_VClone(y), dy = N_VClone(y);
    double *v = NV_DATA_S(y);
    N_VConst(0.0, y);
    N_VConst(0.0, yp);
    v[S] = -JFET_VP - 1e-3;
    v[P] = V_BUS - v[S];
    for (int i = 0; i < 50; i++) {
        ref1_residual(k, k->t0, v, NV_DATA_S(yp), NV_DATA_S(r));
        SUNMatZero(j);
        ref1_jacobian(k, 0.0, v, NV_DATA_S(yp), SM_COLS_D(j));
        if (SUNLinSolSetup(ls, j) || SUNLinSolSolve(ls, j, dy, r, 0.0))
            die("singular at the operating point");
        N_VLinearSum(1.0, y, -1.0, dy, y);
        if (N_VMaxNorm(dy) < 1e-13) {
            N_VDestroy(r);
            N_VDestroy(dy);
            return;
        }
    }
    die("no operating point");
}

static void count(Run *run)
{
    long n;
    IDAGetNumSteps(run->ida, &n), run->steps += n;
    IDAGetNumNonlinSolvIters(run->ida, &n), run->newton += n;
    IDAGetNumResEvals(run->ida, &n), run->residuals += n;
    IDAGetNumJacEvals(run->ida, &n), run->jacobians += n;
    IDAGetNumErrTestFails(run->ida, &n), run->refused += n;
}

/* What the untimed pass collects. */
typedef struct {
    size_t count, next;
    double *time, *row;
    double energy[MAX_EDGES + 1]; /* into the cascode, from edge to edge; entry 0: before the first */
} Readout;

/* Rows and energy (four-point Gauss) of the step that ended at local time t, from the interpolant; h its length. */
static void read_step(Run *run, Readout *out, int edge, double start, double t, double h, N_Vector at)
{
    static const double X[2] = {0.339981043584856265, 0.861136311594052575};
    static const double W[2] = {0.652145154862546143, 0.347854845137453857};
    for (int i = 0; i < 4; i++) {
        double x = (i & 1 ? -1.0 : 1.0) * X[i >> 1];
        IDAGetDky(run->ida, t - 0.5 * h + 0.5 * h * x, 0, at);
        out->energy[edge] += 0.5 * h * W[i >> 1] * ref1_cascode_power(NV_DATA_S(at));
    }
    for (; out->next < out->count && out->time[out->next] - start <= t; out->next++) {
        double u = out->time[out->next] - start;
        IDAGetDky(run->ida, u < t - h ? t - h : u, 0, at);
        ref1_node_form(NV_DATA_S(at), out->row + N * out->next);
    }
}

/* One stretch of the gate course from absolute time t0 to t1, gate from v0 to v1. With a restart at every corner time
 * counts from the corner, so that steps of femtoseconds keep their digits at 1 ms. */
static void segment(Run *run, double t0, double t1, double v0, double v1, Readout *out, int edge, N_Vector at)
{
    double origin = run->restart ? t0 : 0.0, from = t0 - origin, to = t1 - origin, t = from;
    run->k = (Ref1){run->k.r_load, v0, (v1 - v0) / (t1 - t0), from};
    if (run->restart) {
        if (t0 > 0.0)
            count(run);
        /* The gate source's slope jumps; y and the derivatives of the differential unknowns do not. Of the algebraic
         * ones v6 takes the jump: iLoop + (vg - v5)/Rg = iLs. */
        double *yp = NV_DATA_S(run->yp);
        yp[G] = run->k.slope - yp[F] - R_GATE * (yp[ILS] - yp[ILOOP]);
        if (IDAReInit(run->ida, from, run->y, run->yp))
            die("restart refused");
    }
    IDASetStopTime(run->ida, to);
    int flag = IDA_SUCCESS;
    while (flag != IDA_TSTOP_RETURN) {
        double before = t;
        flag = IDASolve(run->ida, to, &t, run->y, run->yp, out ? IDA_ONE_STEP : IDA_NORMAL);
        if (flag < 0) {
            fprintf(stderr, "ref1_ida: IDASolve gives up with %d (%s) at %.9g s\n", flag, IDAGetReturnFlagName(flag),
                    origin + t);
            exit(3);
        }
        if (flag == IDA_SUCCESS && t >= to)
            flag = IDA_TSTOP_RETURN;
        if (out)
            read_step(run, out, edge, origin, t, t - before, at);
    }
}

static void whole(Run *run, const Case *c, N_Vector y0, N_Vector yp0, Readout *out, N_Vector at)
{
    N_VScale(1.0, y0, run->y);
    N_VScale(1.0, yp0, run->yp);
    run->steps = run->newton = run->residuals = run->jacobians = run->refused = 0;
    if (IDAReInit(run->ida, 0.0, run->y, run->yp))
        die("start refused");
    segment(run, 0.0, c->edge[0], 0.0, 0.0, out, 0, at);
    for (int i = 0; i < c->edges; i++) {
        double low = i % 2 ? GATE_ON : 0.0, high = GATE_ON - low, top = c->edge[i] + RAMP;
        segment(run, c->edge[i], top, low, high, out, i + 1, at);
        segment(run, top, c->edge[i + 1], high, high, out, i + 1, at);
    }
    count(run);
}

static Case make_case(const char *name)
{
    Case c = {0};
    if (!strcmp(name, "two")) {
        const double e[] = {0.2e-6, 2.2e-6, 3.2e-6, 4.2e-6, 5.2e-6};
        c.edges = 4;
        memcpy(c.edge, e, sizeof e);
    } else if (!strcmp(name, "many")) {
        c.edges = MAX_EDGES;
        c.r_load = 8.0;
        for (int i = 0; i < MAX_EDGES; i++)
            c.edge[i] = 0.2e-6 + i * 5e-6;
        c.edge[MAX_EDGES] = 1e-3;
    } else {
        die("unknown case; expected two or many");
    }
    return c;
}

static Readout read_times(const char *path)
{
    Readout out = {0};
    FILE *f = path ? fopen(path, "rb") : NULL;
    if (!f && path)
        die("cannot read the times");
    if (f) {
        fseek(f, 0, SEEK_END);
        out.count = (size_t)ftell(f) / sizeof(double);
        rewind(f);
        out.time = malloc(out.count * sizeof(double) + 1);
        out.row = calloc(out.count * N + 1, sizeof(double));
        if (fread(out.time, sizeof(double), out.count, f) != out.count)
            die("cannot read the times");
        fclose(f);
    }
    return out;
}

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

int main(int argc, char **argv)
{
    if (argc != 5 && argc != 7)
        die("usage: ref1_ida two|many TOLERANCE REPEATS restart|stop [TIMES ROWS]");
    Case c = make_case(argv[1]);
    double tolerance = atof(argv[2]);
    int repeats = atoi(argv[3]);
    if (!(tolerance > 0.0))
        die("the tolerance must be positive");
    Readout out = read_times(argc == 7 ? argv[5] : NULL);

    SUNContext context;
    if (SUNContext_Create(NULL, &context))
        die("no SUNDIALS context");
    Run run = {.restart = !strcmp(argv[4], "restart")};
    run.k.r_load = c.r_load;
    run.y = N_VNew_Serial(N, context);
    run.yp = N_VClone(run.y);
    N_Vector y0 = N_VClone(run.y), yp0 = N_VClone(run.y), at = N_VClone(run.y);
    SUNMatrix j = SUNDenseMatrix(N, N, context);
    SUNLinearSolver ls = SUNLinSol_Dense(run.y, j, context);
    operating_point(&run.k, y0, yp0, j, ls);

    run.ida = IDACreate(context);
    if (IDAInit(run.ida, residual, 0.0, y0, yp0) || IDASStolerances(run.ida, tolerance, tolerance) ||
        IDASetUserData(run.ida, &run.k) || IDASetLinearSolver(run.ida, ls, j) || IDASetJacFn(run.ida, jacobian) ||
        IDASetMaxNumSteps(run.ida, 1000000000L) || IDASetErrFile(run.ida, NULL))
        die("IDA refused its set-up");

    double best = INFINITY;
    for (int i = 0; i <= repeats; i++) {
        double start = now();
        whole(&run, &c, y0, yp0, NULL, at);
        double spent = now() - start;
        if (i > 0 && spent < best)
            best = spent;
    }
    long timed_steps = run.steps;
    whole(&run, &c, y0, yp0, &out, at);

    double on = 0.0, off = 0.0;
    if (c.edges == 4) { /* as specified: the first turn-off and the second turn-on */
        off = out.energy[2], on = out.energy[3];
    } else {
        for (int i = 1; i <= c.edges; i++)
            *(i % 2 ? &on : &off) += out.energy[i];
    }
    if (argc == 7) {
        FILE *f = fopen(argv[6], "wb");
        if (!f || fwrite(out.row, sizeof(double), out.next * N, f) != out.next * N || fclose(f))
            die("cannot write the rows");
    }
    printf("version=%s tolerance=%g seconds=%.9g steps=%ld newton=%ld residuals=%ld jacobians=%ld refused=%ld "
           "e_off=%.15g e_on=%.15g rows=%zu same_steps=%d\n",
           SUNDIALS_VERSION, tolerance, best, run.steps, run.newton, run.residuals, run.jacobians, run.refused, off, on,
           out.next, timed_steps == run.steps || repeats < 1);
    return 0;
}
