#include "planner/particles.h"

#include "planner/sample.h"

void lattice_init(struct lattice *l, size_t n)
{
    l->n = n;
    for (size_t i = 0; i < n; i++)
        l->score[i] = sample_normal(((double)i + 0.5) / (double)n);
    for (unsigned j = 0; j < DIMENSIONS; j++)
        sample_order(j, l->order[j], n);
}
