//go:build deps

package deps

import (
	_ "github.com/alecthomas/kong"
	_ "github.com/alexedwards/argon2id"
	_ "github.com/alexedwards/scs/postgresstore"
	_ "github.com/alexedwards/scs/v2"
	_ "github.com/alicebob/miniredis/v2"
	_ "github.com/chromedp/chromedp"
	_ "github.com/danielgtaylor/huma/v2"
	_ "github.com/danielgtaylor/huma/v2/adapters/humagin"
	_ "github.com/emersion/go-ical"
	_ "github.com/getkin/kin-openapi/openapi3"
	_ "github.com/getkin/kin-openapi/openapi3filter"
	_ "github.com/getkin/kin-openapi/routers/gorillamux"
	_ "github.com/gin-gonic/gin"
	_ "github.com/google/uuid"
	_ "github.com/hibiken/asynq"
	_ "github.com/jmoiron/sqlx"
	_ "github.com/klauspost/compress/flate"
	_ "github.com/lib/pq"
	_ "github.com/paulmach/orb/geojson"
	_ "github.com/pressly/goose/v3"
	_ "github.com/redis/go-redis/v9"
	_ "github.com/xuri/excelize/v2"
	_ "golang.org/x/sync/errgroup"
	_ "golang.org/x/sync/semaphore"
	_ "golang.org/x/time/rate"
	_ "pgregory.net/rapid"
)
