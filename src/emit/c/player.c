/* Reference player; see player.h. */
#include "player.h"

/* One band, open for playing in order. */
struct band {
    int16_t low_16, high_16;
    uint32_t tick_us, settle_ticks, rest_ticks;
    int32_t balance_step;
    greyloom_code_t plus, minus;
    uint16_t stretches, strokes, fields;
    uint16_t next; /* entry of the list that is being read */
#if GREYLOOM_PACKED
    const uint8_t *at;     /* what comes next of the band in the image */
    const uint8_t *stroke; /* and of its erase */
#else
    const struct greyloom_band *of;
#endif
};

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

#if GREYLOOM_PACKED

#define HEADER_BYTES 32u

static uint32_t number(const uint8_t **at)
{
    uint32_t value = 0;
    unsigned shift = 0;
    uint8_t byte;
    do {
        byte = *(*at)++;
        value |= (uint32_t)(byte & 0x7Fu) << shift;
        shift += 7;
    } while (byte & 0x80u);
    return value;
}

static int32_t signed_number(const uint8_t **at)
{
    uint32_t raw = number(at);
    return (raw & 1u) ? -(int32_t)(raw >> 1) - 1 : (int32_t)(raw >> 1);
}

/* Behind so many sections. */
static const uint8_t *behind(const uint8_t *at, uint16_t sections)
{
    while (sections--) {
        uint32_t length = number(&at);
        at += length;
    }
    return at;
}

static const uint8_t *section(uint16_t index)
{
    const uint8_t *at = behind(greyloom_image + HEADER_BYTES, index);
    (void)number(&at);
    return at;
}

#define ROW_RAILS 2u
#define COLUMN_RAILS 3u
#define ERASES 5u
#define FIRST_BAND 6u

/* Code of a row's rail; whether its voltage is below 0 goes where asked. */
static greyloom_code_t row_rail(uint32_t index, int *negative)
{
    const uint8_t *at = section(ROW_RAILS);
    int32_t mv;
    uint32_t code;
    do {
        mv = signed_number(&at);
        code = number(&at);
    } while (index--);
    *negative = mv < 0;
    return (greyloom_code_t)code;
}

/* Codes of +v and -v of a pair of column rails, which count from 1. */
static void column_pair(uint32_t pair, greyloom_code_t *plus, greyloom_code_t *minus)
{
    const uint8_t *at = section(COLUMN_RAILS);
    (void)number(&at); /* code of 0 V */
    while (pair--) {
        (void)number(&at);
        *plus = (greyloom_code_t)number(&at);
        *minus = (greyloom_code_t)number(&at);
    }
}

static void open_band(struct band *band, uint16_t index)
{
    const uint8_t *at = section((uint16_t)(FIRST_BAND + index));
    band->low_16 = (int16_t)signed_number(&at);
    band->high_16 = (int16_t)(band->low_16 + (int32_t)number(&at));
    (void)number(&at); /* refresh_ms */
    band->tick_us = number(&at);
    band->settle_ticks = number(&at);
    band->stroke = behind(section(ERASES), (uint16_t)number(&at));
    (void)number(&band->stroke); /* length */
    band->rest_ticks = number(&band->stroke);
    band->balance_step = (int32_t)number(&at);
    band->plus = band->minus = GREYLOOM_COLUMN_ZERO;
    if (band->balance_step) column_pair(number(&at), &band->plus, &band->minus);
    band->stretches = (uint16_t)number(&at);
    band->next = 0;
    band->at = at;
}

static void next_stretch(struct band *band, struct stretch *entry)
{
    int32_t t = band->next++ ? entry->temperature_16 + (int32_t)number(&band->at) : signed_number(&band->at);
    entry->temperature_16 = (int16_t)t;
    entry->factor_4096 = (uint16_t)number(&band->at);
}

/* Once every stretch entry was read. */
static void begin_strokes(struct band *band)
{
    band->at = behind(band->at, 1); /* the band's own ladder */
    band->strokes = (uint16_t)number(&band->stroke);
}

static void next_stroke(struct band *band, struct stroke *stroke)
{
    int negative;
    stroke->code = row_rail(number(&band->stroke), &negative);
    stroke->ticks = number(&band->stroke);
}

static void begin_fields(struct band *band)
{
    band->fields = (uint16_t)number(&band->at);
}

/* Tick counts of all levels, lowest bit first, in as few bits as hold the slot's. */
static void unpack(struct band *band, uint16_t slot_ticks, greyloom_ticks_t *of_level)
{
    uint32_t held = 0, mask = 0;
    unsigned bits = 0, width = 0;
    uint16_t level;
    while (slot_ticks >> width) width++;
    mask = ((uint32_t)1 << width) - 1u;
    for (level = 0; level < GREYLOOM_LEVELS; level++) {
        while (bits < width) {
            held |= (uint32_t)*band->at++ << bits;
            bits += 8;
        }
        of_level[level] = (greyloom_ticks_t)(held & mask);
        held >>= width;
        bits -= width;
    }
}

static void next_field(struct band *band, struct field *field, greyloom_ticks_t *of_level)
{
    int lightens;
    field->select = row_rail(number(&band->at), &lightens);
    field->on = field->off = GREYLOOM_COLUMN_ZERO;
    if (lightens) {
        column_pair(number(&band->at), &field->on, &field->off);
    } else {
        column_pair(number(&band->at), &field->off, &field->on);
    }
    field->tick_us = number(&band->at);
    field->slot_ticks = (uint16_t)number(&band->at);
    field->guard_ticks = (uint16_t)number(&band->at);
    field->mirrored = (uint8_t)number(&band->at);
    field->gain = (int32_t)number(&band->at);
    if (lightens) field->gain = -field->gain;
    unpack(band, field->slot_ticks, of_level);
}

static uint32_t image_u32(uint32_t at)
{
    const uint8_t *b = greyloom_image + at;
    return b[0] | (uint32_t)b[1] << 8 | (uint32_t)b[2] << 16 | (uint32_t)b[3] << 24;
}

/* CRC-32/ISO-HDLC of a part of the image. */
static uint32_t crc32_of(uint32_t first, uint32_t end)
{
    uint32_t crc = 0xFFFFFFFFu;
    for (; first < end; first++) {
        unsigned bit;
        crc ^= greyloom_image[first];
        for (bit = 0; bit < 8; bit++) crc = (crc >> 1) ^ (0xEDB88320u & (0u - (crc & 1u)));
    }
    return ~crc;
}

int greyloom_table_intact(void)
{
    return crc32_of(0, HEADER_BYTES - 4) == image_u32(HEADER_BYTES - 4) && image_u32(8) == GREYLOOM_TABLE_BYTES &&
           crc32_of(HEADER_BYTES, GREYLOOM_TABLE_BYTES) == image_u32(HEADER_BYTES - 8);
}

#else /* arrays of structures */

static void open_band(struct band *band, uint16_t index)
{
    const struct greyloom_band *of = &greyloom_bands[index];
    band->low_16 = of->low_16;
    band->high_16 = of->high_16;
    band->tick_us = of->tick_us;
    band->settle_ticks = of->settle_ticks;
    band->rest_ticks = of->rest_ticks;
    band->balance_step = of->balance_step;
    band->plus = (greyloom_code_t)of->balance_plus_code;
    band->minus = (greyloom_code_t)of->balance_minus_code;
    band->stretches = of->stretches;
    band->next = 0;
    band->of = of;
}

static void next_stretch(struct band *band, struct stretch *entry)
{
    const struct greyloom_stretch *of = &band->of->stretch[band->next++];
    entry->temperature_16 = of->temperature_16;
    entry->factor_4096 = of->factor_4096;
}

static void begin_strokes(struct band *band)
{
    band->strokes = band->of->strokes;
    band->next = 0;
}

static void next_stroke(struct band *band, struct stroke *stroke)
{
    const struct greyloom_stroke *of = &band->of->stroke[band->next++];
    stroke->ticks = of->ticks;
    stroke->code = (greyloom_code_t)of->row_code;
}

static void begin_fields(struct band *band)
{
    band->fields = band->of->fields;
    band->next = 0;
}

static void next_field(struct band *band, struct field *field, greyloom_ticks_t *of_level)
{
    const struct greyloom_field *of = &band->of->field[band->next];
    const uint16_t *ticks = band->of->ticks + band->next++;
    uint16_t level;
    field->tick_us = of->tick_us;
    field->gain = of->gain;
    field->slot_ticks = of->slot_ticks;
    field->guard_ticks = of->guard_ticks;
    field->select = (greyloom_code_t)of->select_code;
    field->on = (greyloom_code_t)of->on_code;
    field->off = (greyloom_code_t)of->off_code;
    field->mirrored = (uint8_t)of->mirrored;
    for (level = 0; level < GREYLOOM_LEVELS; level++, ticks += band->fields) of_level[level] = (greyloom_ticks_t)*ticks;
}

#endif

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

static int play_field(struct refresh *r, const struct band *band, const struct field *field)
{
    uint16_t row;
    r->lines.period_16 = stretched(field->tick_us, r->factor_4096);
    for (row = 0; row < GREYLOOM_ROWS; row++) {
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
