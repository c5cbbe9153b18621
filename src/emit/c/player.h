/*
 * Reference player: from the levels of a picture to what every line carries, tick by tick.
 *
 * RAM: struct greyloom_player, for each column a code, a tick count and 4 bytes of charge, for each level a tick count.
 * No dynamic memory, no floating point. What runs in every tick neither multiplies nor divides by a variable.
 *
 * Cycles between two ticks on a Cortex-M0+ with 120 columns and 32 levels, built by gcc 12 -O2, memory without wait states:
 * 2192 at most within a slot, about 4550 before a slot's first tick, where its row is loaded, and 5182 (plain table) or
 * 6742 (packed) at most, where a field opens. The row and tick functions come on top. `cargo bench --bench player_cycles`.
 */
#ifndef GREYLOOM_PLAYER_H
#define GREYLOOM_PLAYER_H

#include "table.h"

#define GREYLOOM_ALL_ROWS 0xFFFEu /* in place of a row: all of them */
#define GREYLOOM_NO_ROW 0xFFFFu   /* in place of a row: none is selected */
#define GREYLOOM_NO_BAND 0xFFFFu

/* What the lines carry during one tick. */
struct greyloom_lines {
    uint32_t period_16;          /* how long the tick lasts, 1/16 us */
    uint16_t row;                /* the selected row, or one of the two above; every other row is at 0 V */
    greyloom_code_t row_code;    /* of that row */
    const greyloom_code_t *column; /* codes of all columns */
};

/* Levels of a row's pixels, GREYLOOM_COLUMNS of them, to be kept until the next call. */
typedef const uint8_t *(*greyloom_row_fn)(void *user, uint16_t row);

/* Puts the lines so, once the tick before is over. Anything but 0 ends the refresh: one more call brings all lines to 0 V. */
typedef int (*greyloom_tick_fn)(void *user, const struct greyloom_lines *lines);

enum greyloom_result {
    GREYLOOM_PLAYED = 0,
    GREYLOOM_TOO_COLD = 1, /* no band serves the temperature; nothing was put on the lines */
    GREYLOOM_TOO_WARM = 2,
    GREYLOOM_STOPPED = 3 /* the tick function ended it */
};

struct greyloom_player {
    int32_t charge[GREYLOOM_COLUMNS];           /* what the data left, twice the ticks on, before the offset */
    greyloom_ticks_t on[GREYLOOM_COLUMNS];      /* ticks on in this slot */
    greyloom_ticks_t of_level[GREYLOOM_LEVELS]; /* ticks on in this field, and zone of rows */
    greyloom_code_t column[GREYLOOM_COLUMNS];
    uint16_t band; /* that played last */
};

/* Once, before the first refresh. */
void greyloom_player_init(struct greyloom_player *player);

/*
 * One whole refresh at a temperature, 1/16 degree Celsius. The band that played last is kept up to
 * GREYLOOM_HYSTERESIS_16 beyond its limits. With balance other than 0, and where the band asks for it, the resting
 * balance follows the rest, while the picture stands. The last tick has all lines at 0 V.
 */
enum greyloom_result greyloom_play(struct greyloom_player *player, int16_t temperature_16, int balance,
                                   greyloom_row_fn row, greyloom_tick_fn tick, void *user);

#if GREYLOOM_PACKED
/* 1 if the image in memory is as it was written (both of its CRC-32), else 0. */
int greyloom_table_intact(void);
#endif

#endif /* GREYLOOM_PLAYER_H */
