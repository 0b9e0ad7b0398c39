#include "metrology/estimate.h"
