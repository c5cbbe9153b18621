/* Part of player.c: reads arrays of structures in the order of play. */
#ifndef GREYLOOM_READ_H
#define GREYLOOM_READ_H

#if GREYLOOM_PACKED
#error "table.h is of the other layout: emit both together"
#endif

/* One band, open for playing in order. */
struct band {
    int16_t low_16, high_16;
    uint32_t tick_us, settle_ticks, rest_ticks;
    int32_t balance_step;
    greyloom_code_t plus, minus;
    uint16_t stretches, strokes, fields;
    uint16_t next; /* entry of the list that is being read */
    const struct greyloom_band *of;
#ifdef GREYLOOM_ZONES
    uint16_t zone; /* that is being played */
#endif
};

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

/* Ticks of all levels from their first on. */
static void load_levels(const struct band *band, const uint16_t *ticks, greyloom_ticks_t *of_level)
{
    uint16_t level;
    for (level = 0; level < GREYLOOM_LEVELS; level++, ticks += band->fields) of_level[level] = (greyloom_ticks_t)*ticks;
}

static void next_field(struct band *band, struct field *field, greyloom_ticks_t *of_level)
{
    const struct greyloom_field *of = &band->of->field[band->next];
    const uint16_t *ticks = band->of->ticks + band->next++;
    field->tick_us = of->tick_us;
    field->gain = of->gain;
    field->slot_ticks = of->slot_ticks;
    field->guard_ticks = of->guard_ticks;
    field->select = (greyloom_code_t)of->select_code;
    field->on = (greyloom_code_t)of->on_code;
    field->off = (greyloom_code_t)of->off_code;
    field->mirrored = (uint8_t)of->mirrored;
    load_levels(band, ticks, of_level);
}

#ifdef GREYLOOM_ZONES
/* The row after the first zone, whose levels are loaded with their field. */
static uint16_t first_zone(struct band *band)
{
    band->zone = 0;
    return band->of->zone_end[0];
}

/* Loads the levels of the next zone, which begins at a row; gives the row after it. */
static uint16_t next_zone(struct band *band, const struct field *field, greyloom_ticks_t *of_level, uint16_t begin)
{
    const uint32_t a_zone = (uint32_t)GREYLOOM_LEVELS * band->fields;
    (void)field;
    (void)begin;
    band->zone++;
    load_levels(band, band->of->ticks + band->zone * a_zone + band->next - 1, of_level);
    return band->of->zone_end[band->zone];
}
#endif

#endif /* GREYLOOM_READ_H */
