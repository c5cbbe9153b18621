/* Stack and entry for the emulated board; the C library's own start does the rest. */
extern char __stack;
extern char _start;

__attribute__((section(".vectors"), used)) static const void *const vectors[] = {&__stack, &_start};
