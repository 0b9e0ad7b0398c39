#include "twin/simulated_bench.h"
