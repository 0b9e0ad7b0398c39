#include "analysis/results.h"
