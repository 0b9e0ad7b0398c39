#include "campaign/campaign.h"
