#include "physics/air.h"
