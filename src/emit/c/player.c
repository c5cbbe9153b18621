/* Reference player; see player.h. */
#include "player.h"

struct stretch {
    int16_t temperature_16;
    uint16_t factor_4096;
};

struct stroke {
    uint32_t ticks;
    greyloom_code_t code;
};

struct field {
    uint32_t tick_us;
    int32_t gain;
    uint16_t slot_ticks, guard_ticks;
    greyloom_code_t select, on, off;
    uint8_t mirrored;
};

#include "read.h" /* how the table is read */

/* A refresh under way. */
struct refresh {
    struct greyloom_player *player;
    struct greyloom_lines lines;
    greyloom_row_fn row;
    greyloom_tick_fn tick;
    void *user;
    uint32_t period_16; /* of the band's tick */
    uint16_t factor_4096;
    int32_t offset; /* that every column's charge is ahead by */
};

static void columns_at(struct greyloom_player *player, greyloom_code_t code)
{
    uint16_t c;
    for (c = 0; c < GREYLOOM_COLUMNS; c++) player->column[c] = code;
}

static void all_at_zero(struct refresh *r)
{
    r->lines.row = GREYLOOM_NO_ROW;
    r->lines.row_code = GREYLOOM_ROW_ZERO;
    columns_at(r->player, GREYLOOM_COLUMN_ZERO);
}

/* The lines as they are for so many ticks; 1 if it was ended. */
static int hold(struct refresh *r, uint32_t ticks)
{
    while (ticks--) {
        if (r->tick(r->user, &r->lines)) return 1;
    }
    return 0;
}

/* What each column does in a slot: on for its ticks at one code, then off at the other. */
static int slot(struct refresh *r, const struct field *field, greyloom_code_t on, greyloom_code_t off, int32_t gain)
{
    struct greyloom_player *player = r->player;
    uint16_t t, c;
    int32_t twice = gain + gain;
    for (t = 0; t < field->slot_ticks; t++) {
        for (c = 0; c < GREYLOOM_COLUMNS; c++) {
            if (t < player->on[c]) {
                player->column[c] = on;
                player->charge[c] += twice;
            } else {
                player->column[c] = off;
            }
        }
        r->offset += gain;
        if (r->tick(r->user, &r->lines)) return 1;
    }
    return 0;
}

static void load_row(struct refresh *r, uint16_t row)
{
    struct greyloom_player *player = r->player;
    const uint8_t *levels = r->row(r->user, row);
    uint16_t c;
    for (c = 0; c < GREYLOOM_COLUMNS; c++) {
        uint8_t level = levels[c];
#if GREYLOOM_LEVELS < 256
        if (level >= GREYLOOM_LEVELS) level = GREYLOOM_LEVELS - 1; /* no level: the lightest */
#endif
        player->on[c] = player->of_level[level];
    }
}

/* Whole 16ths of a microsecond, to nearest; 32 bits hold every step. */
static uint32_t stretched(uint32_t tick_us, uint16_t factor_4096)
{
    return (tick_us >> 8) * factor_4096 + (((tick_us & 0xFFu) * factor_4096 + 128u) >> 8);
}

static int play_field(struct refresh *r, struct band *band, const struct field *field)
{
    uint16_t row;
#ifdef GREYLOOM_ZONES
    uint16_t end = first_zone(band);
#endif
    r->lines.period_16 = stretched(field->tick_us, r->factor_4096);
    for (row = 0; row < GREYLOOM_ROWS; row++) {
#ifdef GREYLOOM_ZONES
        if (row == end) end = next_zone(band, field, r->player->of_level, end);
#endif
        load_row(r, row);
        r->lines.row = row;
        r->lines.row_code = field->select;
        if (slot(r, field, field->on, field->off, field->gain)) return 1;
        r->lines.row = GREYLOOM_NO_ROW;
        r->lines.row_code = GREYLOOM_ROW_ZERO;
        if (field->mirrored && slot(r, field, field->off, field->on, 0)) return 1;
        if (field->guard_ticks) {
            columns_at(r->player, GREYLOOM_COLUMN_ZERO);
            if (hold(r, field->guard_ticks)) return 1;
        }
    }
    all_at_zero(r);
    r->lines.period_16 = r->period_16;
    return hold(r, band->settle_ticks);
}

static int play_strokes(struct refresh *r, struct band *band)
{
    struct stroke stroke;
    uint16_t i;
    begin_strokes(band);
    for (i = 0; i < band->strokes; i++) {
        next_stroke(band, &stroke);
        r->lines.row = GREYLOOM_ALL_ROWS;
        r->lines.row_code = stroke.code;
        if (hold(r, stroke.ticks)) return 1;
    }
    all_at_zero(r);
    return 0;
}

static int play_fields(struct refresh *r, struct band *band)
{
    struct field field;
    uint16_t i;
    begin_fields(band);
    for (i = 0; i < band->fields; i++) {
        next_field(band, &field, r->player->of_level);
        if (play_field(r, band, &field)) return 1;
    }
    return hold(r, band->rest_ticks);
}

/* Each column against its data until what is left is nearest to nothing. */
static int play_balance(struct refresh *r, const struct band *band)
{
    struct greyloom_player *player = r->player;
    const int32_t step = band->balance_step, half = step >> 1;
    uint16_t c;
    for (c = 0; c < GREYLOOM_COLUMNS; c++) player->charge[c] -= r->offset;
    for (;;) {
        int going = 0;
        for (c = 0; c < GREYLOOM_COLUMNS; c++) {
            int32_t left = player->charge[c];
            if (left > half) {
                player->column[c] = band->plus;
                player->charge[c] = left - step;
                going = 1;
            } else if (left < -half) {
                player->column[c] = band->minus;
                player->charge[c] = left + step;
                going = 1;
            } else {
                player->column[c] = GREYLOOM_COLUMN_ZERO;
            }
        }
        if (!going) return 0;
        if (r->tick(r->user, &r->lines)) return 1;
    }
}

/* Linear between entries, to nearest with halves away from zero, clamped at the ends. */
static uint16_t factor_at(struct band *band, int16_t temperature_16)
{
    struct stretch a = {0, 4096}, b = {0, 4096};
    uint16_t factor = 4096, i;
    for (i = 0; i < band->stretches; i++, a = b) {
        int32_t t, over, rise;
        next_stretch(band, &b);
        if (i == 0) factor = b.factor_4096;
        if (i == 0 || temperature_16 < a.temperature_16) continue;
        t = temperature_16 < b.temperature_16 ? temperature_16 : b.temperature_16;
        over = b.temperature_16 - a.temperature_16;
        if (over == 0) over = 1;
        rise = 2 * ((int32_t)b.factor_4096 - a.factor_4096) * (t - a.temperature_16);
        rise = rise < 0 ? -((over - rise) / (2 * over)) : (over + rise) / (2 * over);
        factor = (uint16_t)(a.factor_4096 + rise);
    }
    return factor;
}

/* Whether a band serves a temperature so far beyond its limits, both included. */
static int within(const struct band *band, int16_t t, int32_t beyond)
{
    return t >= band->low_16 - beyond && t <= band->high_16 + beyond;
}

/* Opens the band that plays at a temperature. */
static enum greyloom_result choose_band(struct greyloom_player *player, struct band *band, int16_t t)
{
    uint16_t i;
    if (player->band < GREYLOOM_BANDS) {
        open_band(band, player->band);
        if (within(band, t, GREYLOOM_HYSTERESIS_16)) return GREYLOOM_PLAYED;
    }
    open_band(band, 0);
    if (t < band->low_16 - GREYLOOM_HYSTERESIS_16) return GREYLOOM_TOO_COLD;
    for (i = 0; i + 1 < GREYLOOM_BANDS && t >= band->high_16; i++) open_band(band, (uint16_t)(i + 1));
    if (t > band->high_16 + GREYLOOM_HYSTERESIS_16) return GREYLOOM_TOO_WARM;
    player->band = i;
    return GREYLOOM_PLAYED;
}

void greyloom_player_init(struct greyloom_player *player)
{
    player->band = GREYLOOM_NO_BAND;
}

enum greyloom_result greyloom_play(struct greyloom_player *player, int16_t temperature_16, int balance,
                                   greyloom_row_fn row, greyloom_tick_fn tick, void *user)
{
    struct refresh r;
    struct band band;
    uint16_t c;
    int stopped;
    enum greyloom_result chosen = choose_band(player, &band, temperature_16);
    if (chosen != GREYLOOM_PLAYED) return chosen;
    for (c = 0; c < GREYLOOM_COLUMNS; c++) player->charge[c] = 0;
    r.player = player;
    r.row = row;
    r.tick = tick;
    r.user = user;
    r.factor_4096 = factor_at(&band, temperature_16);
    r.period_16 = stretched(band.tick_us, r.factor_4096);
    r.offset = 0;
    r.lines.period_16 = r.period_16;
    r.lines.column = player->column;
    all_at_zero(&r);
    stopped = play_strokes(&r, &band) || play_fields(&r, &band) ||
              (balance && band.balance_step && play_balance(&r, &band));
    all_at_zero(&r);
    r.lines.period_16 = r.period_16;
    (void)tick(user, &r.lines);
    return stopped ? GREYLOOM_STOPPED : GREYLOOM_PLAYED;
}
