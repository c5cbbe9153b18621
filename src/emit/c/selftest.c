/*
 * Plays the test vectors on the target and compares what reaches the lines: a pattern for proving a player of one's own.
 *
 * Each tick is little-endian: row (2 bytes), the row's code (2), period in 1/16 us (4), then each column's code (1 byte
 * where codes have 8 bits, else 2). On a target without a standard output, replace printf.
 */
#include <stdio.h>

#include "player.h"
#include "vectors.h"

struct bench {
    const uint8_t *picture, *at;
    uint8_t row[GREYLOOM_COLUMNS];
    uint32_t ticks, crc;
};

/* CRC-32/ISO-HDLC by half bytes. */
static uint32_t crc_byte(uint32_t crc, uint8_t byte)
{
    static const uint32_t table[16] = {0x00000000u, 0x1DB71064u, 0x3B6E20C8u, 0x26D930ACu, 0x76DC4190u, 0x6B6B51F4u,
                                       0x4DB26158u, 0x5005713Cu, 0xEDB88320u, 0xF00F9344u, 0xD6D6A3E8u, 0xCB61B38Cu,
                                       0x9B64C2B0u, 0x86D3D2D4u, 0xA00AE278u, 0xBDBDF21Cu};
    crc ^= byte;
    crc = (crc >> 4) ^ table[crc & 15u];
    return (crc >> 4) ^ table[crc & 15u];
}

static uint32_t crc_number(uint32_t crc, uint32_t value, unsigned bytes)
{
    for (; bytes; bytes--, value >>= 8) crc = crc_byte(crc, (uint8_t)value);
    return crc;
}

/* The next row of a run-length coded picture; runs end with their row. */
static const uint8_t *next_row(void *user, uint16_t row)
{
    struct bench *bench = user;
    uint16_t c = 0;
    if (row == 0) bench->at = bench->picture;
    while (c < GREYLOOM_COLUMNS) {
        uint8_t pixels = *bench->at++, level = *bench->at++;
        while (pixels-- && c < GREYLOOM_COLUMNS) bench->row[c++] = level;
    }
    return bench->row;
}

static int next_tick(void *user, const struct greyloom_lines *lines)
{
    struct bench *bench = user;
    uint32_t crc = bench->crc;
    uint16_t c;
    crc = crc_number(crc, lines->row, 2);
    crc = crc_number(crc, lines->row_code, 2);
    crc = crc_number(crc, lines->period_16, 4);
    for (c = 0; c < GREYLOOM_COLUMNS; c++) crc = crc_number(crc, lines->column[c], sizeof(greyloom_code_t));
    bench->crc = crc;
    bench->ticks++;
    return 0;
}

int main(void)
{
    static struct greyloom_player player;
    static struct bench bench;
    int i, wrong = 0;
#if GREYLOOM_PACKED
    if (!greyloom_table_intact()) {
        printf("the table is damaged\n");
        return 1;
    }
#endif
    if (GREYLOOM_VECTORS_CRC32 != GREYLOOM_PARAMETER_CRC32) {
        printf("the vectors are of another set\n");
        return 1;
    }
    for (i = 0; i < GREYLOOM_VECTORS; i++) {
        const struct vector *v = &vectors[i];
        enum greyloom_result result;
        bench.picture = v->picture;
        bench.ticks = 0;
        bench.crc = 0xFFFFFFFFu;
        if (v->fresh) greyloom_player_init(&player);
        result = greyloom_play(&player, v->temperature_16, v->balance, next_row, next_tick, &bench);
        if (result != GREYLOOM_PLAYED || bench.ticks != v->ticks || (bench.crc ^ 0xFFFFFFFFu) != v->crc32) {
            printf("vector %d: result %d, %lu ticks, CRC %08lX; expected %lu ticks, CRC %08lX\n", i, (int)result,
                   (unsigned long)bench.ticks, (unsigned long)(bench.crc ^ 0xFFFFFFFFu), (unsigned long)v->ticks,
                   (unsigned long)v->crc32);
            wrong = 1;
        }
    }
    printf("%d vectors: %s\n", GREYLOOM_VECTORS, wrong ? "different line levels" : "identical line levels");
    return wrong;
}
