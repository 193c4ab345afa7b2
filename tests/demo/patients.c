#include "tests/demo/scenario.h"

#define ALDER   UNIT_ALDER
#define BRINDLE UNIT_BRINDLE
#define CORVANE UNIT_CORVANE
#define AVF     SIGN_TYPE_AVF
#define AVG     SIGN_TYPE_AVG
#define L       SIDE_LEFT
#define R       SIDE_RIGHT
#define UD      METHOD_ULTRASOUND_DILUTION
#define TD      METHOD_THERMODILUTION
#define ID      METHOD_IONIC_DIALYSANCE
#define BC      "upper arm, brachiocephalic"
#define BB      "upper arm, brachiobasilic"
#define RC      "forearm, radiocephalic"
#define LOOP    "forearm, brachial loop"

static const struct demo_unit units[UNIT_COUNT] = {
    [UNIT_ALDER] = { "Alder Quay Dialysis", "alder-quay.example", STYLE_FOCUS,
                     60, 1, 3 },
    [UNIT_BRINDLE] = { "Brindle Moss Dialysis", "brindle-moss.example",
                       STYLE_PANEL, 0, 10, 22 },
    [UNIT_CORVANE] = { "Corvane Heath Dialysis", "corvane-heath.example",
                       STYLE_SITE, 60, 18, 40 },
};

/* One row, one patient. */
/* clang-format off */
static const struct demo_patient patients[] = {
{ 101, ALDER, AVF, BC, L, STORY_VERY_HIGH, 1950, 2350, UD, "male", 1964 },
{ 102, ALDER, AVF, BC, R, STORY_HEART_SHARE, 1300, 1400, UD, "female", 1948 },
{ 103, ALDER, AVF, BC, L, STORY_STEAL_HIGH, 1650, 1720, UD, "female", 1957 },
{ 104, ALDER, AVF, BC, L, STORY_PULSATILE, 1380, 1430, UD, "male", 1970 },
{ 105, ALDER, AVF, BB, R, STORY_BAND_CREEP, 2400, 2400, UD, "male", 1979 },
{ 106, ALDER, AVG, LOOP, L, STORY_GRAFT_LOW_SWELLING, 690, 660, UD, "female", 1951 },
{ 107, ALDER, AVF, BC, L, STORY_OUTLIER, 1400, 1400, UD, "male", 1960 },
{ 108, ALDER, AVF, BC, L, STORY_DUPLEX, 1300, 1300, UD, "female", 1968 },
{ 109, ALDER, AVF, BC, R, STORY_WITHDRAWN, 1290, 1310, UD, "male", 1955 },
{ 110, ALDER, AVF, BC, L, STORY_TWO_ACCESSES, 1050, 1050, UD, "male", 1949 },
{ 111, ALDER, AVF, BC, L, STORY_HISTORIC, 1200, 1320, UD, "female", 1972 },
{ 112, ALDER, AVF, RC, R, STORY_FINGER_SILENT, 920, 960, UD, "male", 1945 },
{ 113, ALDER, AVF, BB, L, STORY_HIGH, 1350, 1680, UD, "male", 1982 },
{ 114, ALDER, AVF, RC, L, STORY_PLAIN, 820, 840, UD, "female", 1953 },
{ 115, ALDER, AVF, BC, L, STORY_PLAIN, 1090, 1060, UD, "male", 1966 },
{ 116, ALDER, AVF, RC, R, STORY_PLAIN, 760, 780, UD, "male", 1941 },
{ 117, ALDER, AVG, LOOP, L, STORY_PLAIN_GRAFT, 1010, 980, UD, "female", 1959 },
{ 118, ALDER, AVF, BC, L, STORY_HEART_FAILURE, 1650, 1680, UD, "female", 1974 },
{ 119, ALDER, AVF, RC, L, STORY_LOW_DOSE, 690, 720, UD, "male", 1938 },
{ 120, ALDER, AVF, BB, R, STORY_VISIT_OVERDUE, 2300, 2300, UD, "male", 1963 },
{ 121, ALDER, AVF, RC, L, STORY_THRILL_LOST, 880, 860, UD, "female", 1990 },
{ 122, ALDER, AVF, BC, R, STORY_PLAIN, 960, 950, UD, "male", 1958 },

{ 201, BRINDLE, AVF, BC, L, STORY_STEAL_LOW, 670, 660, UD, "female", 1952 },
{ 202, BRINDLE, AVF, BC, L, STORY_HIGH, 1450, 1720, UD, "male", 1976 },
{ 203, BRINDLE, AVF, BC, R, STORY_BAND_TIGHT, 2300, 2380, UD, "male", 1961 },
{ 204, BRINDLE, AVG, LOOP, L, STORY_GRAFT_LOW, 690, 660, UD, "female", 1947 },
{ 205, BRINDLE, AVF, BC, L, STORY_CORRECTED, 1280, 1300, UD, "male", 1969 },
{ 206, BRINDLE, AVF, BC, L, STORY_NOISE, 1350, 1350, UD, "female", 1956 },
{ 207, BRINDLE, AVF, RC, L, STORY_TOLERABLE_TWICE, 840, 850, UD, "male", 1944 },
{ 208, BRINDLE, AVF, BB, L, STORY_ABOVE_TWICE, 2600, 2900, UD, "male", 1985 },
{ 209, BRINDLE, AVF, RC, R, STORY_FALL, 960, 950, UD, "female", 1950 },
{ 210, BRINDLE, AVF, BC, L, STORY_WRONG_UNIT, 1220, 1200, UD, "male", 1973 },
{ 211, BRINDLE, AVF, BC, R, STORY_DILATED, 1000, 1040, UD, "female", 1967 },
{ 212, BRINDLE, AVF, RC, L, STORY_PLAIN, 740, 760, UD, "male", 1939 },
{ 213, BRINDLE, AVF, BC, L, STORY_PLAIN, 1080, 1100, UD, "female", 1962 },
{ 214, BRINDLE, AVF, RC, L, STORY_PLAIN, 860, 850, UD, "male", 1954 },
{ 215, BRINDLE, AVG, LOOP, R, STORY_PLAIN_GRAFT, 1040, 1050, UD, "male", 1965 },
{ 216, BRINDLE, AVF, BB, L, STORY_PLAIN, 990, 970, UD, "female", 1971 },
{ 217, BRINDLE, AVF, RC, R, STORY_PLAIN, 700, 710, UD, "male", 1943 },
{ 218, BRINDLE, AVF, BC, L, STORY_PLAIN, 1130, 1110, UD, "male", 1978 },
{ 219, BRINDLE, AVF, RC, L, STORY_PLAIN, 810, 830, UD, "female", 1988 },
{ 220, BRINDLE, AVF, BC, L, STORY_PLAIN, 930, 940, UD, "male", 1960 },

{ 301, CORVANE, AVF, BC, L, STORY_TISSUE_LOSS, 1200, 1220, TD, "female", 1954 },
{ 302, CORVANE, AVF, RC, L, STORY_FISTULA_LOW, 565, 550, TD, "male", 1946 },
{ 303, CORVANE, AVF, BC, R, STORY_VERY_HIGH, 2050, 2400, TD, "male", 1981 },
{ 304, CORVANE, AVF, RC, L, STORY_FINGER_ONCE, 840, 830, TD, "female", 1949 },
{ 305, CORVANE, AVF, BC, L, STORY_TWO_METHODS, 1300, 1310, TD, "male", 1968 },
{ 306, CORVANE, AVF, BC, L, STORY_PRELIMINARY, 1250, 1260, TD, "female", 1975 },
{ 307, CORVANE, AVF, BC, R, STORY_ABOVE_ONCE, 1250, 1250, TD, "male", 1957 },
{ 308, CORVANE, AVF, RC, L, STORY_UNMAPPED, 980, 1000, TD, "male", 1963 },
{ 309, CORVANE, AVF, RC, L, STORY_PLAIN, 790, 800, TD, "female", 1940 },
{ 310, CORVANE, AVF, BC, L, STORY_PLAIN, 1100, 1090, ID, "male", 1966 },
{ 311, CORVANE, AVG, LOOP, L, STORY_PLAIN_GRAFT, 970, 1000, TD, "female", 1958 },
{ 312, CORVANE, AVF, RC, R, STORY_PLAIN, 720, 700, TD, "male", 1951 },
{ 313, CORVANE, AVF, BB, L, STORY_PLAIN, 1040, 1060, TD, "male", 1977 },
{ 314, CORVANE, AVF, BC, L, STORY_PLAIN, 950, 930, TD, "female", 1984 },
{ 315, CORVANE, AVF, RC, L, STORY_PLAIN, 870, 880, ID, "male", 1942 },
{ 316, CORVANE, AVF, BC, R, STORY_PLAIN, 1010, 1000, TD, "female", 1961 },
{ 317, CORVANE, AVF, RC, L, STORY_PLAIN, 830, 820, TD, "male", 1992 },
{ 318, CORVANE, AVF, BC, L, STORY_PLAIN, 900, 910, TD, "female", 1955 },
};
/* clang-format on */

const struct demo_unit *demo_unit(enum demo_unit_id u)
{
    return &units[(unsigned)u < UNIT_COUNT ? u : UNIT_ALDER];
}

const struct demo_patient *demo_patients(size_t *count)
{
    *count = COUNT(patients);
    return patients;
}

_Static_assert(COUNT(patients) <= 110, "two patients would share a name");

const char *demo_given(size_t row)
{
    static const char *const birds[] = { "Avocet",    "Bittern", "Curlew",
                                         "Dunlin",    "Egret",   "Fieldfare",
                                         "Goldeneye", "Hoopoe",  "Kestrel",
                                         "Lapwing",   "Merlin" };

    return birds[row % COUNT(birds)];
}

const char *demo_family(size_t row)
{
    static const char *const words[] = { "Fictional", "Imagined", "Invented",
                                         "Madeup",    "Notional", "Pretend",
                                         "Storybook", "Unreal",   "Whimsical",
                                         "Fabled" };

    return words[row % COUNT(words)];
}
