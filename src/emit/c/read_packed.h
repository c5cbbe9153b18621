/* Part of player.c: reads an image in the order of play. */
#ifndef GREYLOOM_READ_H
#define GREYLOOM_READ_H

#if !GREYLOOM_PACKED
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
    const uint8_t *at;     /* what comes next of the band in the image */
    const uint8_t *stroke; /* and of its erase */
#ifdef GREYLOOM_ZONES
    const uint8_t *zones; /* rows of each zone */
    const uint8_t *zone;  /* and of the next */
#endif
};

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
#ifdef GREYLOOM_ZONES
    uint32_t zones = number(&band->at);
    band->zones = band->at;
    while (zones--) (void)number(&band->at);
#endif
    band->fields = (uint16_t)number(&band->at);
}

/*
 * Tick counts of all levels in as few bits as hold the slot's, lowest bit first; or stepped, each above the one before by
 * the least step and by so many bits more.
 */
static void unpack(struct band *band, uint16_t slot_ticks, int stepped, greyloom_ticks_t *of_level)
{
    uint32_t held = 0, mask, ticks = 0, least = 0;
    unsigned bits = 0, width = 0;
    uint16_t level = 0;
    if (stepped) {
        ticks = number(&band->at);
        least = (uint32_t)signed_number(&band->at);
        width = (unsigned)number(&band->at);
        of_level[level++] = (greyloom_ticks_t)ticks;
    } else {
        while (slot_ticks >> width) width++;
    }
    mask = ((uint32_t)1 << width) - 1u;
    for (; level < GREYLOOM_LEVELS; level++) {
        while (bits < width) {
            held |= (uint32_t)*band->at++ << bits;
            bits += 8;
        }
        ticks = (stepped ? ticks + least : 0u) + (held & mask);
        of_level[level] = (greyloom_ticks_t)ticks;
        held >>= width;
        bits -= width;
    }
}

static void next_field(struct band *band, struct field *field, greyloom_ticks_t *of_level)
{
    int lightens;
    uint32_t flags;
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
    flags = number(&band->at);
    field->mirrored = flags & 1u;
    field->gain = (int32_t)number(&band->at);
    if (lightens) field->gain = -field->gain;
    unpack(band, field->slot_ticks, (flags & 2u) != 0, of_level);
}

#ifdef GREYLOOM_ZONES
/* The row after the first zone, whose levels are loaded with their field. */
static uint16_t first_zone(struct band *band)
{
    band->zone = band->zones;
    return (uint16_t)number(&band->zone);
}

/* Loads the levels of the next zone, which begins at a row; gives the row after it. */
static uint16_t next_zone(struct band *band, const struct field *field, greyloom_ticks_t *of_level, uint16_t begin)
{
    int stepped = number(&band->at) != 0;
    unpack(band, field->slot_ticks, stepped, of_level);
    return (uint16_t)(begin + number(&band->zone));
}
#endif

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

#endif /* GREYLOOM_READ_H */
