// Stand-in for the header of this name (see Arduino.h beside it), core 3.1.2.
#ifndef STANDIN_WIRING_PRIVATE_H
#define STANDIN_WIRING_PRIVATE_H

extern "C" void resetPins();

#endif
