#include "signal/statistics.h"
