#include "bench/bench.h"
