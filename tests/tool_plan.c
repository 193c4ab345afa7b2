/*
 * tool_plan - what the band planner gives, for comparison with other software
 *
 * Reads one line per question and answers each with one line of full
 * precision:
 *
 *     blood HAEMATOCRIT                    viscosity, density
 *     element NAME NUMBER...               R and K, or one number
 *     circuit rf=0.004 kf=1.6e-6 ...       flows of access, artery and distal
 *                                          artery; MAP, PA, PH
 *     sample DIMENSION N COUNT             the first COUNT places, 0..1
 *     normal U...                          quantiles
 *     plan key=value ...                   struct plan as JSON
 *     bench N key=value ...                the least milliseconds of N plans
 *
 * "err" where the planner refuses; of a plan, JSON that says why.  The keys of
 * a plan are the names in struct plan_input and struct plan_limits; besides
 *
 *     flow_ml_min=2650,2550  dowels_mm=4,3.5,3
 *     prior=reference  method=ultrasound-dilution  region=wrist  lead=window
 *     stage=tied:4:1820,1760:95:0.6:weak        step, dowel, flows, MAP, index
 *     stage=stretched::1900 stage=released      what is not known: empty
 *
 * A line that is no question ends the program with status 2, so that a
 * comparison cannot pass by accident.  peers/planner.py, peers/circuit.py and
 * bench/planner_numpy.py ask.
 */
#include "planner/blood.h"
#include "planner/circuit.h"
#include "planner/plan.h"
#include "planner/sample.h"
#include "tests/plan_kit.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { LINE_MAX_BYTES = 4096, NUMBERS_MAX = 16, SAMPLE_MAX = 32768 };

/* ---- the parts ------------------------------------------------------------ */

/* The numbers of a line, at most NUMBERS_MAX; -1 if it holds anything else. */
static int read_numbers(char *text, double *in)
{
    int count = 0;

    for (char *word = kit_word(&text); word != NULL; word = kit_word(&text)) {
        if (count == NUMBERS_MAX || !kit_number(word, &in[count++]))
            return -1;
    }
    return count;
}

static void answer_pair(struct element x)
{
    printf("%.17g %.17g\n", x.r, x.k);
}

/* Those that need blood get it as their first two numbers, mu and rho. */
static bool answer_element(char *text)
{
    const char *name = kit_word(&text);
    double x[NUMBERS_MAX];
    int count = read_numbers(text, x);
    struct blood b = { x[0], x[1] };

    if (name == NULL || count < 0)
        return false;
    if (strcmp(name, "poiseuille") == 0 && count == 4)
        printf("%.17g\n", element_poiseuille(&b, x[2], x[3]));
    else if (strcmp(name, "head") == 0 && count == 3)
        printf("%.17g\n", element_head(&b, x[2]));
    else if (strcmp(name, "reynolds") == 0 && count == 4)
        printf("%.17g\n", element_reynolds(&b, x[2], x[3]));
    else if (strcmp(name, "tube-drop") == 0 && count == 5)
        printf("%.17g\n", element_tube_drop(&b, x[2], x[3], x[4]));
    else if (strcmp(name, "edge") == 0 && count == 2)
        printf("%.17g\n", element_edge(x[0], x[1]));
    else if (strcmp(name, "pore") == 0 && count == 4)
        printf("%.17g\n", element_pore(&b, x[2], x[3]));
    else if (strcmp(name, "band") == 0 && count == 7)
        answer_pair(element_band(&b, x[2], x[3], x[4], x[5], x[6]));
    else if (strcmp(name, "smooth-stenosis") == 0 && count == 5)
        answer_pair(element_smooth_stenosis(&b, x[2], x[3], x[4]));
    else if (strcmp(name, "quadratic-flow") == 0 && count == 3)
        printf("%.17g\n",
               element_quadratic_flow((struct element){ x[0], x[1] }, x[2]));
    else
        return false;
    return true;
}

static bool answer_blood(char *text)
{
    double x[NUMBERS_MAX], mu, rho;

    if (read_numbers(text, x) != 1)
        return false;
    if (blood_viscosity(x[0], &mu) != ERR_OK ||
        blood_density(x[0], &rho) != ERR_OK)
        puts("err");
    else
        printf("%.17g %.17g\n", mu, rho);
    return true;
}

static bool answer_circuit(char *text)
{
    static const struct kit_key keys[] = {
        { "rf", offsetof(struct circuit, feeding.r) },
        { "kf", offsetof(struct circuit, feeding.k) },
        { "ra", offsetof(struct circuit, access.r) },
        { "ka", offsetof(struct circuit, access.k) },
        { "rd", offsetof(struct circuit, rd) },
        { "rc", offsetof(struct circuit, rc) },
        { "rh", offsetof(struct circuit, rh) },
        { "map", offsetof(struct circuit, map_mmhg) },
        { "cvp", offsetof(struct circuit, cvp_mmhg) },
        { "kappa", offsetof(struct circuit, kappa) },
        { "q0", offsetof(struct circuit, q0_ml_min) },
    };
    struct circuit c = { 0 };
    struct circuit_state s;

    for (char *word = kit_word(&text); word != NULL; word = kit_word(&text)) {
        const char *value = kit_value(word);

        if (value == NULL || !kit_set(keys, COUNT(keys), &c, word, value))
            return false;
    }
    if (circuit_solve(&c, &s) != ERR_OK)
        puts("err");
    else
        printf("%.17g %.17g %.17g %.17g %.17g %.17g\n", s.access_ml_min,
               s.feeding_ml_min, s.distal_ml_min, s.map_mmhg,
               s.anastomosis_mmhg, s.hand_mmhg);
    return true;
}

static bool answer_sample(char *text)
{
    static uint32_t order[SAMPLE_MAX];
    double x[NUMBERS_MAX];

    if (read_numbers(text, x) != 3 || !(x[0] >= 0.0 && x[0] < 64.0) ||
        !(x[1] >= 1.0 && x[1] <= SAMPLE_MAX) || !(x[2] >= 1.0 && x[2] <= x[1]))
        return false;
    sample_order((unsigned)x[0], order, (size_t)x[1]);
    for (size_t i = 0; i < (size_t)x[2]; i++)
        printf("%.17g ", (order[i] + 0.5) / x[1]);
    puts("");
    return true;
}

static bool answer_normal(char *text)
{
    double u[NUMBERS_MAX];
    int count = read_numbers(text, u);

    if (count < 1)
        return false;
    for (int i = 0; i < count; i++)
        printf("%.17g ", sample_normal(u[i]));
    puts("");
    return true;
}

/* ---- a plan --------------------------------------------------------------- */

/* Made once: it is some 30 MB. */
static struct plan_work *the_work(void)
{
    static struct plan_work *work;

    if (work == NULL) {
        work = malloc(plan_work_size());
        if (work == NULL)
            exit(1);
        plan_work_init(work);
    }
    return work;
}

static bool answer_plan(char *text)
{
    struct plan_input in;
    struct plan_fault fault;
    struct plan plan;

    if (!kit_plan_input(text, &in))
        return false;
    if (plan_check(&in, &fault) != ERR_OK)
        printf("{\"err\":\"%s: %s\"}\n", fault.field, fault.why);
    else if (plan_make(&in, the_work(), &plan) != ERR_OK)
        puts("{\"err\":\"plan_make\"}");
    else
        kit_plan_print(&plan);
    return true;
}

static double now_ms(void)
{
    struct timespec t;

    clock_gettime(CLOCK_MONOTONIC, &t);
    return 1e3 * (double)t.tv_sec + 1e-6 * (double)t.tv_nsec;
}

static bool answer_bench(char *text)
{
    const char *word = kit_word(&text);
    double times, best = INFINITY;
    struct plan_input in;
    struct plan plan;

    if (word == NULL || !kit_number(word, &times) || !(times >= 1.0) ||
        !kit_plan_input(text, &in))
        return false;
    for (int i = 0; i < (int)times; i++) {
        struct plan_work *work = the_work();
        double start = now_ms();

        if (plan_make(&in, work, &plan) != ERR_OK)
            return false;
        best = fmin(best, now_ms() - start);
    }
    printf("%.6g\n", best);
    return true;
}

int main(void)
{
    static const struct {
        const char *name;
        bool (*answer)(char *text);
    } questions[] = {
        { "blood", answer_blood },     { "element", answer_element },
        { "circuit", answer_circuit }, { "sample", answer_sample },
        { "normal", answer_normal },   { "plan", answer_plan },
        { "bench", answer_bench },
    };
    char line[LINE_MAX_BYTES], *rest;

    for (size_t n = 1; fgets(line, sizeof line, stdin) != NULL; n++) {
        const char *name = (rest = line, kit_word(&rest));
        bool good = false;

        for (size_t i = 0; name != NULL && i < COUNT(questions); i++)
            good |= strcmp(name, questions[i].name) == 0 &&
                    questions[i].answer(rest);
        if (!good) {
            fprintf(stderr, "tool_plan: line %zu is no question\n", n);
            return 2;
        }
        fflush(stdout);
    }
    return ferror(stdin) || fflush(stdout) != 0 ? 1 : 0;
}
